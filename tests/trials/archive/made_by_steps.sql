-- trials
CREATE INDEX ix_decisions_trial ON decisions (trial)
CREATE TABLE cells ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, plate_width DOUBLE, direction DOUBLE, plate_gap DOUBLE, quantity TEXT NOT NULL, count DOUBLE, mean DOUBLE, squares DOUBLE, bridged DOUBLE, unmeasured DOUBLE, gap_length DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE decisions ( id INTEGER NOT NULL, trial INTEGER NOT NULL, standing TEXT NOT NULL, reason TEXT NOT NULL, made DATETIME NOT NULL, PRIMARY KEY (id), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE files ( checksum VARCHAR(64) NOT NULL, name TEXT NOT NULL, content BLOB NOT NULL, PRIMARY KEY (checksum) )
CREATE TABLE prints ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, make_ready TEXT, speed DOUBLE, roll TEXT, cell_volume DOUBLE, pressure DOUBLE, plate TEXT, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE trials ( id INTEGER NOT NULL, name TEXT NOT NULL, file VARCHAR(64) NOT NULL, fingerprint VARCHAR(12) NOT NULL, pressure_unit TEXT NOT NULL, notes TEXT NOT NULL, features INTEGER NOT NULL, added DATETIME NOT NULL, PRIMARY KEY (id), UNIQUE (file), FOREIGN KEY(file) REFERENCES files (checksum), UNIQUE (fingerprint) )
-- declarations and fits
CREATE TABLE declarations ( id INTEGER NOT NULL, kind TEXT NOT NULL, file VARCHAR(64) NOT NULL, added DATETIME NOT NULL, PRIMARY KEY (id), UNIQUE (file), FOREIGN KEY(file) REFERENCES files (checksum) )
CREATE TABLE fits ( id INTEGER NOT NULL, fingerprint VARCHAR(12) NOT NULL, recipe TEXT NOT NULL, answer TEXT NOT NULL, made DATETIME NOT NULL, PRIMARY KEY (id), UNIQUE (fingerprint) )
CREATE TABLE roll_volumes ( id INTEGER NOT NULL, roll TEXT NOT NULL, cell_volume DOUBLE NOT NULL, measured DATE NOT NULL, note TEXT NOT NULL, added DATETIME NOT NULL, PRIMARY KEY (id) )
-- comparisons
CREATE INDEX ix_comparisons_trial ON comparisons (trial)
CREATE TABLE comparisons ( id INTEGER NOT NULL, trial INTEGER NOT NULL, against TEXT NOT NULL, verdict TEXT NOT NULL, told TEXT NOT NULL, made DATETIME NOT NULL, PRIMARY KEY (id), FOREIGN KEY(trial) REFERENCES trials (id) )
-- verdicts
-- sheets
CREATE TABLE trials ( id INTEGER NOT NULL, name TEXT NOT NULL, file VARCHAR(64) NOT NULL, fingerprint VARCHAR(12) NOT NULL, pressure_unit TEXT NOT NULL, notes TEXT NOT NULL, features INTEGER NOT NULL, added DATETIME NOT NULL, sheet TEXT, PRIMARY KEY (id), UNIQUE (file), FOREIGN KEY(file) REFERENCES files (checksum), UNIQUE (fingerprint) )
-- seals
CREATE TABLE decisions ( id INTEGER NOT NULL, trial INTEGER NOT NULL, standing TEXT NOT NULL, reason TEXT NOT NULL, made DATETIME NOT NULL, seal VARCHAR(64) NOT NULL DEFAULT '', PRIMARY KEY (id), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE fits ( id INTEGER NOT NULL, fingerprint VARCHAR(12) NOT NULL, recipe TEXT NOT NULL, answer TEXT NOT NULL, made DATETIME NOT NULL, decision INTEGER, PRIMARY KEY (id), UNIQUE (fingerprint) )
-- press order
CREATE TABLE prints ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, make_ready TEXT, speed DOUBLE, roll TEXT, cell_volume DOUBLE, pressure DOUBLE, plate TEXT, "order" DOUBLE, time DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- foot rule
CREATE TABLE prints ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, make_ready TEXT, speed DOUBLE, roll TEXT, cell_volume DOUBLE, pressure DOUBLE, plate TEXT, "order" DOUBLE, time DOUBLE, foot_rule TEXT, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- scan decisions
CREATE INDEX ix_scan_decisions_sha256 ON scan_decisions (sha256)
CREATE TABLE scan_decisions ( id INTEGER NOT NULL, sha256 VARCHAR(64) NOT NULL, profile TEXT NOT NULL, file TEXT NOT NULL, decision TEXT NOT NULL, reason TEXT NOT NULL, bare_film TEXT NOT NULL, made DATETIME NOT NULL, PRIMARY KEY (id) )
-- measuring
CREATE TABLE cells ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, plate_width DOUBLE, direction DOUBLE, plate_gap DOUBLE, quantity TEXT NOT NULL, count DOUBLE, mean DOUBLE, squares DOUBLE, bridged DOUBLE, unmeasured DOUBLE, gap_length DOUBLE, error DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, u_line_height DOUBLE, u_line_width DOUBLE, u_section_area DOUBLE, u_gap DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- raggedness
CREATE TABLE cells ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, plate_width DOUBLE, direction DOUBLE, plate_gap DOUBLE, quantity TEXT NOT NULL, count DOUBLE, mean DOUBLE, squares DOUBLE, bridged DOUBLE, unmeasured DOUBLE, gap_length DOUBLE, error DOUBLE, raggedness DOUBLE, correlation DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, u_line_height DOUBLE, u_line_width DOUBLE, u_section_area DOUBLE, u_gap DOUBLE, gap_raggedness DOUBLE, gap_correlation DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- scans
CREATE TABLE scans ( sha256 VARCHAR(64) NOT NULL, name TEXT NOT NULL, size INTEGER NOT NULL, kept DATETIME NOT NULL, content BLOB NOT NULL, PRIMARY KEY (sha256) )
-- plate features
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, u_line_height DOUBLE, u_line_width DOUBLE, u_section_area DOUBLE, u_gap DOUBLE, gap_raggedness DOUBLE, gap_correlation DOUBLE, plate_feature TEXT, lip_width DOUBLE, gap_depth DOUBLE, corner_radius DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE prints ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, make_ready TEXT, speed DOUBLE, roll TEXT, cell_volume DOUBLE, pressure DOUBLE, plate TEXT, "order" DOUBLE, time DOUBLE, foot_rule TEXT, plate_id TEXT, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- corners
CREATE TABLE cells ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, plate_width DOUBLE, direction DOUBLE, plate_gap DOUBLE, quantity TEXT NOT NULL, count DOUBLE, mean DOUBLE, squares DOUBLE, bridged DOUBLE, unmeasured DOUBLE, gap_length DOUBLE, error DOUBLE, raggedness DOUBLE, correlation DOUBLE, lip_width DOUBLE, corner TEXT, corner_radius DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, u_line_height DOUBLE, u_line_width DOUBLE, u_section_area DOUBLE, u_gap DOUBLE, gap_raggedness DOUBLE, gap_correlation DOUBLE, plate_feature TEXT, lip_width DOUBLE, gap_depth DOUBLE, corner_radius DOUBLE, corner TEXT, printed_radius DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
-- ridges
CREATE TABLE features ( trial INTEGER NOT NULL, at INTEGER NOT NULL, print TEXT, direction DOUBLE, plate_width DOUBLE, plate_gap DOUBLE, line_height DOUBLE, line_width DOUBLE, section_area DOUBLE, gap DOUBLE, gap_length DOUBLE, gaps_inspected DOUBLE, gaps_bridged DOUBLE, resistance DOUBLE, line_length DOUBLE, u_line_height DOUBLE, u_line_width DOUBLE, u_section_area DOUBLE, u_gap DOUBLE, gap_raggedness DOUBLE, gap_correlation DOUBLE, plate_feature TEXT, lip_width DOUBLE, gap_depth DOUBLE, corner_radius DOUBLE, corner TEXT, printed_radius DOUBLE, ridges DOUBLE, PRIMARY KEY (trial, at), FOREIGN KEY(trial) REFERENCES trials (id) )
