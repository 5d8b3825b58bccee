BEGIN TRANSACTION;
CREATE TABLE owner_key (
	trial_id VARCHAR(64) NOT NULL, 
	key_sha256 VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	PRIMARY KEY (trial_id, key_sha256), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
INSERT INTO "owner_key" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc','039ba7f92d4c760a40b1db717a33a40cdb6c66886022142203349db26db05dff','2026-11-25T12:35:22.836+00:00');
INSERT INTO "owner_key" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc','9caa32a221918fdfd7efb2c9e298d9bc4e92ec556cf75d61436e6c31d8e84f78','2026-11-25T12:35:22.842+00:00');
INSERT INTO "owner_key" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv','2477ffb1a3e1375112231e6564e5dd135e5beb91fcab2d063135b5e28cf481ae','2026-11-25T12:35:22.843+00:00');
CREATE TABLE schema_version (
	id INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "schema_version" VALUES(1,1);
CREATE TABLE trial (
	trial_id VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	setup_version INTEGER NOT NULL, 
	PRIMARY KEY (trial_id)
);
INSERT INTO "trial" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc','2026-11-25T12:35:22.836+00:00',2);
INSERT INTO "trial" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv','2026-11-25T12:35:22.843+00:00',1);
CREATE TABLE trial_blocks_first (
	trial_id VARCHAR(64) NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	PRIMARY KEY (trial_id), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
INSERT INTO "trial_blocks_first" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv','2026-11-25T12:35:22.844+00:00');
CREATE TABLE trial_recording (
	trial_id VARCHAR(64) NOT NULL, 
	position INTEGER NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	name VARCHAR(200) NOT NULL, 
	PRIMARY KEY (trial_id, position), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
INSERT INTO "trial_recording" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc',0,'15c5df6025d688b2ab6308dc0eea066e84d8686ff549f4a0b99a1bbf9f74c9de','hub.csv');
INSERT INTO "trial_recording" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc',1,'2ce9c69a342548007ca004fef730c7a04711e6a61612511d643a5b00ead87170','pedals.csv');
INSERT INTO "trial_recording" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv',0,'15c5df6025d688b2ab6308dc0eea066e84d8686ff549f4a0b99a1bbf9f74c9de','hub.csv');
INSERT INTO "trial_recording" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv',1,'2ce9c69a342548007ca004fef730c7a04711e6a61612511d643a5b00ead87170','pedals.csv');
CREATE TABLE trial_setup (
	trial_id VARCHAR(64) NOT NULL, 
	version INTEGER NOT NULL, 
	created_utc VARCHAR(32) NOT NULL, 
	setup_json TEXT NOT NULL, 
	PRIMARY KEY (trial_id, version), 
	FOREIGN KEY(trial_id) REFERENCES trial (trial_id) ON DELETE CASCADE
);
INSERT INTO "trial_setup" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc',1,'2026-11-25T12:35:22.836+00:00','{"trial": {}, "drivetrain": {"loss_pct": [1.0, 5.0]}, "device": [], "plan": []}');
INSERT INTO "trial_setup" VALUES('8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc',2,'2026-11-25T12:35:22.839+00:00','{"trial": {"title": "Kiln road, \"first\" go; it''s <b>old</b>", "reference": "hub"}, "drivetrain": {"loss_pct": [1.0, 4.5]}, "device": [{"file": "hub.csv", "label": "hub", "point": "hub", "claim_pct": 1.5, "firmware": "3.10", "shift_s": 0.0}, {"file": "pedals.csv", "label": "pedals", "point": "pedal", "claim_pct": 1.0}], "plan": [{"name": "hold 200", "duration_s": 300.0, "target_w": 200.0, "kind": "steady"}, {"name": "easy", "duration_s": 120.0, "target_w": 120.0, "kind": "steady"}]}');
INSERT INTO "trial_setup" VALUES('HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv',1,'2026-11-25T12:35:22.843+00:00','{"trial": {"title": "Kiln road, \"first\" go; it''s <b>old</b>", "reference": "hub"}, "drivetrain": {"loss_pct": [1.0, 4.5]}, "device": [{"file": "hub.csv", "label": "hub", "point": "hub", "claim_pct": 1.5, "firmware": "3.10", "shift_s": 0.0}, {"file": "pedals.csv", "label": "pedals", "point": "pedal", "claim_pct": 1.0}], "plan": [{"name": "hold 200", "duration_s": 300.0, "target_w": 200.0, "kind": "steady"}, {"name": "easy", "duration_s": 120.0, "target_w": 120.0, "kind": "steady"}]}');
CREATE INDEX ix_trial_recording_sha256 ON trial_recording (sha256);
COMMIT;
