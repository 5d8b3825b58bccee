"""The forecast's noise from one's own trials. Referees: who holds which cookie, the noise that was made."""

from __future__ import annotations

import numpy as np
import pytest
from asking import settled

from analysis.forecast import DEFAULT_NOISE
from app.access import cookie_name
from app.jobs import Ready
from app.main import create_app
from app.planning import looking
from app.services import CONFIG_KEY, create_trial
from app.settings import Settings

LABEL, SECOND_PCT = "pedals", 2.0
ASKED = {"noise": f"own:{LABEL}"}


def ride(seed: int) -> bytes:
    """Holds of 200 and 150 W in turn; the second device differs from the first by unlike seconds of SECOND_PCT."""
    rng = np.random.default_rng(seed)
    power = np.tile(np.repeat([200.0, 150.0], 240), 5)
    power = power * (1 + (rng.normal(0, SECOND_PCT / 100, power.size) if seed else 0))
    lines = [f"{1_768_673_100 + t},{w:.2f},{85 + 10 * (t // 240 % 2) + t % 3}" for t, w in enumerate(power)]
    return "\n".join(["time,power,cadence", *lines]).encode()


@pytest.fixture(scope="module")
def owned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("noise")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    services = app.server.config[CONFIG_KEY]
    ours, client = {"X-Requested-With": "countercheck", "Origin": "http://localhost"}, app.server.test_client()
    files = [client.post("/upload", data=ride(i), headers=ours | {"X-File-Name": f"{i}.csv"}).json for i in range(2)]
    setup = {"device": [{"file": "0.csv", "label": "hub"}, {"file": "1.csv", "label": LABEL}]}
    made = {hidden: create_trial(services, files, setup, blocks_first=hidden) for hidden in (False, True)}
    assert isinstance(settled(services.jobs, made[False].trial_id, within_s=120), Ready)
    yield app, made
    services.close()


def noise(app, new) -> tuple:
    with app.server.test_request_context("/plan"):
        name = cookie_name(app.server.config[CONFIG_KEY].store.trial(new.trial_id).inner_id)
    with app.server.test_request_context("/plan", headers={"Cookie": f"{name}={new.owner_key}"}):
        return looking.noise_for(ASKED), looking.own_labels()


def test_the_holder_of_the_key_is_offered_the_device_and_gets_its_noise(owned):
    app, made = owned
    found, labels = noise(app, made[False])
    assert labels == ["hub", LABEL]
    assert "own trial;" in found.origin
    # seconds alike as the default has them would make the same error from a third of the noise: (1 - r)/(1 + r) at r = 0.8
    assert 0.5 * SECOND_PCT / 3 < found.second_pct < 2 * SECOND_PCT / 3


def test_nobody_else_and_no_trial_whose_deltas_are_hidden_gives_any(owned):
    app, made = owned
    with app.server.test_request_context("/plan"):
        assert (looking.noise_for(ASKED), looking.own_labels()) == (DEFAULT_NOISE, [])
    assert noise(app, made[True])[0] == DEFAULT_NOISE
