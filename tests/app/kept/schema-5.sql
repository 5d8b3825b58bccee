BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0005');
CREATE TABLE dossier (
	dossier_id VARCHAR(64) NOT NULL, 
	own_address VARCHAR(64) NOT NULL, 
	reader_address VARCHAR(64), 
	created_utc VARCHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	PRIMARY KEY (dossier_id), 
	UNIQUE (own_address), 
	UNIQUE (reader_address)
);
INSERT INTO "dossier" VALUES('1pUcynjKx9kiKJFYaGa0HTh3MuG9X6yU','mlp6duOKqZuRxXbH9q2tfP6mjAunnkPW','peHxuxPEsrD-OA2bVUOZV6f5NxBoS6aM','2026-11-25T16:33:33.227+00:00',2);
INSERT INTO "dossier" VALUES('Qz6VaVkLdiFY4ycpRV2G1KIvn1Aurlce','B8KL5smIUaKuYtYFK6pbcnnBS6PANaEm',NULL,'2026-11-25T16:33:33.342+00:00',1);
CREATE TABLE dossier_key (
	dossier_id VARCHAR(64) NOT NULL, 
	key_sha256 VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	PRIMARY KEY (dossier_id, key_sha256), 
	FOREIGN KEY(dossier_id) REFERENCES dossier (dossier_id) ON DELETE CASCADE
);
INSERT INTO "dossier_key" VALUES('1pUcynjKx9kiKJFYaGa0HTh3MuG9X6yU','b2fd36cb71835d87982df019106dfb10019488d8016e72c218009acdab5342d2','2026-11-25T16:33:33.258+00:00');
INSERT INTO "dossier_key" VALUES('1pUcynjKx9kiKJFYaGa0HTh3MuG9X6yU','06e43d7003d47ab24dceb1de845199d5c36f0f7a75d5003def96053a36d664b8','2026-11-25T16:33:33.331+00:00');
INSERT INTO "dossier_key" VALUES('Qz6VaVkLdiFY4ycpRV2G1KIvn1Aurlce','efb4b163c31c4ebe24295e2db2bf1d53f71b7c4c583bf5084f52956f656913c0','2026-11-25T16:33:33.342+00:00');
CREATE TABLE dossier_version (
	dossier_id VARCHAR(64) NOT NULL, 
	version INTEGER NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	document_json TEXT NOT NULL, 
	PRIMARY KEY (dossier_id, version), 
	FOREIGN KEY(dossier_id) REFERENCES dossier (dossier_id) ON DELETE CASCADE
);
INSERT INTO "dossier_version" VALUES('1pUcynjKx9kiKJFYaGa0HTh3MuG9X6yU',1,'2026-11-25T16:33:33.227+00:00','{"title": "Kiln pedals; it''s <b>old</b>", "device": {"name": "pedals", "point": null, "claim_pct": null, "obtained": "not stated", "obtained_note": null, "price": null, "currency": null, "ties": null}, "reviewer": null, "conclusion": null, "limits": null, "licence": "not stated", "firmware": [], "trials": [], "bench": [], "incidents": [], "corrections": [], "reply": null, "answers": null}');
INSERT INTO "dossier_version" VALUES('1pUcynjKx9kiKJFYaGa0HTh3MuG9X6yU',2,'2026-11-25T16:33:33.283+00:00','{"title": "Kiln pedals; it''s <b>old</b>", "device": {"name": "pedals", "point": null, "claim_pct": null, "obtained": "not stated", "obtained_note": null, "price": null, "currency": null, "ties": null}, "reviewer": null, "conclusion": "Reads true.", "limits": null, "licence": "not stated", "firmware": [], "trials": [{"key": "e4a3a08ee7c5", "name": "First evening", "label": "pedals", "digest": {"schema": "countercheck-digest/1", "version": "8", "title": "First evening", "headline": "h", "reference": "hub", "reference_point": "hub", "point": "pedal", "claim_pct": 1.5, "firmware": "2.07", "start_utc": "2026-03-01T18:00:00Z", "devices": 3, "loss_pct": [1, 4], "summary": [{"kind": "steady", "delta_pct": 2.0, "delta_pct_ci": [1.6, 2.4], "delta_w": null, "delta_w_ci": null, "mean_w": null, "reference_mean_w": null, "allowance_pct": [-3.0, 7.0], "likely_allowance_pct": [-1.0, 5.0], "verdict": "within", "n_s": 900.0, "blocks": 8}], "levels": [], "findings": [], "ridden": {"power_w": null, "cadence_rpm": null, "torque_nm": null, "temperature_degc": null, "sprints": 0, "holds": 0, "levels": 0, "repeated_levels": 0, "positions": []}, "plan": null, "frozen": null, "blocks_hash": "x", "edited_blocks": 0, "excluded_blocks": 0}, "rider": null, "unit": null, "rig": null, "day": "2026-03-01", "where": "not stated", "varied": [], "note": null, "link": "/trial/AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA", "earlier": null}], "bench": [], "incidents": [{"day": "2026-03-01", "kind": "drop-out", "what": "2 holes", "tried": null, "helped": null, "ended_with": null, "found_in": "First evening"}], "corrections": [], "reply": null, "answers": null}');
INSERT INTO "dossier_version" VALUES('Qz6VaVkLdiFY4ycpRV2G1KIvn1Aurlce',1,'2026-11-25T16:33:33.342+00:00','{"title": "Not published", "device": {"name": "crank", "point": null, "claim_pct": null, "obtained": "not stated", "obtained_note": null, "price": null, "currency": null, "ties": null}, "reviewer": null, "conclusion": null, "limits": null, "licence": "not stated", "firmware": [], "trials": [], "bench": [], "incidents": [], "corrections": [], "reply": null, "answers": null}');
CREATE TABLE note (
	note_id VARCHAR(64) NOT NULL, 
	trial_id VARCHAR(64) NOT NULL, 
	from_s FLOAT, 
	to_s FLOAT, 
	text TEXT NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	changed_utc VARCHAR(32) NOT NULL, 
	version INTEGER NOT NULL, 
	PRIMARY KEY (note_id), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE TABLE owner_key (
	trial_id VARCHAR(64) NOT NULL, 
	key_sha256 VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, label VARCHAR(80) DEFAULT '' NOT NULL, expires_utc VARCHAR(32), revoked_utc VARCHAR(32), 
	PRIMARY KEY (trial_id, key_sha256), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE TABLE reader_link (
	token VARCHAR(64) NOT NULL, 
	trial_id VARCHAR(64) NOT NULL, 
	label VARCHAR(80) DEFAULT '' NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	expires_utc VARCHAR(32), 
	revoked_utc VARCHAR(32), 
	PRIMARY KEY (token), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE TABLE ride_plan (
	token VARCHAR(64) NOT NULL, 
	key_sha256 VARCHAR(64) NOT NULL, 
	design_json TEXT NOT NULL, 
	version INTEGER NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	frozen_utc VARCHAR(32), 
	fingerprint VARCHAR(64), 
	PRIMARY KEY (token)
);
CREATE TABLE schema_version (
	id INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "schema_version" VALUES(1,5);
CREATE TABLE trial (
	trial_id VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	setup_version INTEGER NOT NULL, private_address VARCHAR(64), links_version INTEGER DEFAULT '1' NOT NULL, opened_utc VARCHAR(32), carried_utc VARCHAR(32), 
	PRIMARY KEY (trial_id)
);
CREATE TABLE trial_blocks_first (
	trial_id VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	PRIMARY KEY (trial_id), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE TABLE trial_recording (
	trial_id VARCHAR(64) NOT NULL, 
	position INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	PRIMARY KEY (trial_id, position), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE TABLE trial_setup (
	trial_id VARCHAR(64) NOT NULL, 
	version INTEGER NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	setup_json TEXT NOT NULL, 
	PRIMARY KEY (trial_id, version), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
CREATE INDEX ix_trial_recording_sha256 ON trial_recording (sha256);
CREATE UNIQUE INDEX ix_trial_private_address ON trial (private_address);
CREATE INDEX ix_reader_link_trial_id ON reader_link (trial_id);
CREATE INDEX ix_note_trial_id ON note (trial_id);
COMMIT;
