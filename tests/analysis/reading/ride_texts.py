"""One ride written as TCX, GPX and CSV text, for tests: same samples, the format's own units and places."""

from __future__ import annotations

import numpy as np
import pandas as pd

PLACE = (45.1234567, 7.7654321)  # stands in every file and must stand in no recording
SERIAL = "3999123456"


def _iso(time_s: float) -> str:
    return pd.Timestamp(time_s, unit="s").isoformat() + "Z"


def _leaf(tag: str, value: float) -> str:
    return "" if np.isnan(value) else f"<{tag}>{value!r}</{tag}>"


def as_tcx(samples: pd.DataFrame) -> bytes:
    """Track points with the usual extension, prefixes as a writer may choose them."""
    points = []
    for row in samples.astype(float).itertuples():
        heart = _leaf("Value", float(row.heart_rate_bpm))
        points.append(
            f"<Trackpoint><Time>{_iso(row.time_s)}</Time><Position><LatitudeDegrees>{PLACE[0]}</LatitudeDegrees>"
            f"<LongitudeDegrees>{PLACE[1]}</LongitudeDegrees></Position>"
            + (f"<HeartRateBpm>{heart}</HeartRateBpm>" if heart else "")
            + _leaf("Cadence", float(row.cadence_rpm))
            + "<Extensions><ns3:TPX>"
            + _leaf("ns3:Speed", float(row.speed_mps))
            + _leaf("ns3:Watts", float(row.power_w))
            + "</ns3:TPX></Extensions></Trackpoint>\n"
        )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<TrainingCenterDatabase xmlns="urn:t" xmlns:ns3="urn:x"><Activities>'
        '<Activity Sport="Biking"><Id>x</Id><Notes>secret note</Notes><Lap><HeartRateBpm><Value>1</Value></HeartRateBpm>'
        f"<Track>{''.join(points)}</Track></Lap><Creator><Name>secret name</Name><UnitId>{SERIAL}</UnitId>"
        "<ProductID>42</ProductID><Version><VersionMajor>3</VersionMajor><VersionMinor>10</VersionMinor></Version>"
        "</Creator></Activity></Activities></TrainingCenterDatabase>\n"
    ).encode()


def as_gpx(samples: pd.DataFrame) -> bytes:
    """Track points with power bare in the extensions and the rest in a prefixed group."""
    points = []
    for row in samples.astype(float).itertuples():
        points.append(
            f'<trkpt lat="{PLACE[0]}" lon="{PLACE[1]}"><time>{_iso(row.time_s)}</time><extensions>'
            + _leaf("power", float(row.power_w))
            + "<g:TrackPointExtension>"
            + _leaf("g:hr", float(row.heart_rate_bpm))
            + _leaf("g:cad", float(row.cadence_rpm))
            + _leaf("g:speed", float(row.speed_mps))
            + "</g:TrackPointExtension></extensions></trkpt>\n"
        )
    return (
        '<?xml version="1.0"?>\n<gpx version="1.1" xmlns="urn:g" xmlns:g="urn:e"><metadata><time>2001-01-01T00:00:00Z'
        "</time></metadata><trk><name>secret name</name><trkseg>" + "".join(points) + "</trkseg></trk></gpx>"
    ).encode()


def as_csv(samples: pd.DataFrame) -> bytes:
    """Semicolons, decimal commas, Unix seconds."""
    frame = samples[["time_s", "power_w", "cadence_rpm", "heart_rate_bpm", "speed_mps"]]
    header = "timestamp;power [W];cadence [rpm];heart rate [bpm];speed [m/s]\r\n"
    body = frame.to_csv(index=False, header=False, sep=";", decimal=",", lineterminator="\r\n")
    return (header + body).encode("utf-8-sig")
