-- A store that the code of 0.1.0 (commit e6d59e8d) wrote, as statements; made by write_store_0_1_0.py.
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('2');
CREATE TABLE device (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	token_digest TEXT NOT NULL, 
	paired BIGINT NOT NULL, 
	seen BIGINT NOT NULL, 
	put_out BOOLEAN NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (token_digest)
);
INSERT INTO "device" VALUES('e6cfafa7cf03c86f','Anna''s phone','0000000000000000000000000000000000000000000000000000000000000000',1795845159729524,1795845159729524,0);
INSERT INTO "device" VALUES('3da939f8bc010757','Lost tablet','1111111111111111111111111111111111111111111111111111111111111111',1795845159737189,1795845159737189,1);
CREATE TABLE document (
	kind TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	content TEXT NOT NULL, 
	changed BIGINT NOT NULL, 
	PRIMARY KEY (kind, "key")
);
INSERT INTO "document" VALUES('shop','one','{"title":"first"}',1795845159777299);
CREATE TABLE job (
	id TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	versions INTEGER NOT NULL, 
	shelf TEXT NOT NULL, 
	created BIGINT NOT NULL, 
	changed BIGINT NOT NULL, 
	deleted BIGINT, words TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "job" VALUES('7d375e4a3f322edf',2,2,2,'kept',1795845157738993,1795845157767427,NULL,'blue estate
# the blue estate, as its owner told it
format: 1
title: blue estate
vehicle: {running: 13.8 v}
allowance: 7 db
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 khz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 v
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 w @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 v
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 w, lead: {length: 2 m, area: 2.5 mm2}}
# seen again in may
');
INSERT INTO "job" VALUES('816967e1ea375555',1,1,1,'deleted',1795845159697290,1795845159697290,1795845159721722,'sold
# the blue estate, as its owner told it
format: 1
title: sold
vehicle: {running: 13.8 v}
allowance: 7 db
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 khz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 v
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 w @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 v
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 w, lead: {length: 2 m, area: 2.5 mm2}}
');
CREATE TABLE job_version (
	job TEXT NOT NULL, 
	number INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	text TEXT NOT NULL, 
	"by" TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	PRIMARY KEY (job, number), 
	FOREIGN KEY(job) REFERENCES job (id) ON DELETE CASCADE
);
INSERT INTO "job_version" VALUES('7d375e4a3f322edf',1,'Blue estate','# the blue estate, as its owner told it
format: 1
title: Blue estate
vehicle: {running: 13.8 V}
allowance: 7 dB
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 V
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 W @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 V
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm²}}
','',1795845157738993);
INSERT INTO "job_version" VALUES('7d375e4a3f322edf',2,'Blue estate','# the blue estate, as its owner told it
format: 1
title: Blue estate
vehicle: {running: 13.8 V}
allowance: 7 dB
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 V
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 W @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 V
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm²}}
# seen again in May
','bench',1795845157766816);
INSERT INTO "job_version" VALUES('816967e1ea375555',1,'Sold','# the blue estate, as its owner told it
format: 1
title: Sold
vehicle: {running: 13.8 V}
allowance: 7 dB
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 V
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 W @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 V
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm²}}
','',1795845159697290);
CREATE TABLE kept_case (
	name TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	content TEXT NOT NULL, 
	changed BIGINT NOT NULL, words TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (name)
);
INSERT INTO "kept_case" VALUES('blue-estate',1,'{"opened":"2026-11-20","job":"# the blue estate, as its owner told it\nformat: 1\ntitle: Blue estate\nvehicle: {running: 13.8 V}\nallowance: 7 dB\ninstruments:\n  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}\nstages:\n  head:\n    kind: head_unit\n    rated_output: 3.1 V\n    volume: {steps: 47, at: 31}\n    outputs:\n      sub: {sides: [mono]}\n  amp:\n    kind: amplifier\n    from: head.sub\n    power: 270 W @ 4 ohm\n    minimum_load: 2 ohm\n    sensitivity: 0.3 .. 5 V\n    gain: {at: 25 %}\n  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm\u00b2}}\n"}',1795845159786314,'blue-estate
2026-11-20
# the blue estate, as its owner told it
format: 1
title: blue estate
vehicle: {running: 13.8 v}
allowance: 7 db
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 khz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 v
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 w @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 v
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 w, lead: {length: 2 m, area: 2.5 mm2}}
');
INSERT INTO "kept_case" VALUES('red-van',1,'{"opened":"2026-11-21","job":"# the blue estate, as its owner told it\nformat: 1\ntitle: Blue estate\nvehicle: {running: 13.8 V}\nallowance: 7 dB\ninstruments:\n  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}\nstages:\n  head:\n    kind: head_unit\n    rated_output: 3.1 V\n    volume: {steps: 47, at: 31}\n    outputs:\n      sub: {sides: [mono]}\n  amp:\n    kind: amplifier\n    from: head.sub\n    power: 270 W @ 4 ohm\n    minimum_load: 2 ohm\n    sensitivity: 0.3 .. 5 V\n    gain: {at: 25 %}\n  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm\u00b2}}\n","closed":{"cause":"lead_open","where":"sub","note":"a connector","on":"2026-11-22"}}',1795845159834319,'red-van
2026-11-21
# the blue estate, as its owner told it
format: 1
title: blue estate
vehicle: {running: 13.8 v}
allowance: 7 db
instruments:
  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 khz}
stages:
  head:
    kind: head_unit
    rated_output: 3.1 v
    volume: {steps: 47, at: 31}
    outputs:
      sub: {sides: [mono]}
  amp:
    kind: amplifier
    from: head.sub
    power: 270 w @ 4 ohm
    minimum_load: 2 ohm
    sensitivity: 0.3 .. 5 v
    gain: {at: 25 %}
  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 w, lead: {length: 2 m, area: 2.5 mm2}}

lead_open
sub
a connector
2026-11-22');
CREATE TABLE recording (
	id TEXT NOT NULL, 
	job TEXT NOT NULL, 
	name TEXT NOT NULL, 
	size BIGINT NOT NULL, 
	measured TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(job) REFERENCES job (id) ON DELETE CASCADE
);
INSERT INTO "recording" VALUES('356b92be54bdd29b','7d375e4a3f322edf','tone.wav',844,'{"rate_hz":4000,"channels":[{"channel":1,"seconds":0.1,"verdict":"clean","frequency_hz":499.99999999999994,"rms_dbfs":-2.999658465509061,"peak_dbfs":-2.99961340124013,"fundamental_dbfs":-2.9996584656259677,"thd_percent":0.0005188242611251998,"thd_n_percent":0.0005188242611182169,"harmonics":[{"order":2,"percent":0.0,"phase_deg":null},{"order":3,"percent":0.0005188242611251997,"phase_deg":-1.8828124319805253},{"order":4,"percent":0.0,"phase_deg":null}],"dc_dbfs":null,"noise_dbfs":-316.2584639385095,"clipped":false,"clip_depth_db":null,"calibrate_v":null,"v_rms":null,"v_peak":null,"fundamental_v_rms":null,"noise_v_rms":null,"dc_v":null,"why_not":{"clip_depth_db":"no flattening was found"},"within":{"frequency_hz":5.606336037951555e-09,"fundamental_dbfs":8.832480304211026e-09,"rms_dbfs":8.832480304211026e-09,"thd_percent":2.0337537482639823e-07,"volts_percent":1.0168768741319912e-07}}]}',1795845159689348);
CREATE TABLE recording_content (
	recording TEXT NOT NULL, 
	content BLOB NOT NULL, 
	PRIMARY KEY (recording), 
	FOREIGN KEY(recording) REFERENCES recording (id) ON DELETE CASCADE
);
INSERT INTO "recording_content" VALUES('356b92be54bdd29b',X'524946464403000057415645666D74201000000001000100A00F0000401F0000020010006461746120030000000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF000014409F5A14400000ECBF61A5ECBF');
CREATE TABLE run_entry (
	job TEXT NOT NULL, 
	number INTEGER NOT NULL, 
	step TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	text TEXT NOT NULL, 
	value TEXT NOT NULL, 
	"by" TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	PRIMARY KEY (job, number), 
	FOREIGN KEY(job) REFERENCES job (id) ON DELETE CASCADE
);
INSERT INTO "run_entry" VALUES('7d375e4a3f322edf',1,'gain','reading','2,1 V','{"v":2.1}','phone',1795845157778956);
CREATE INDEX ix_job_shelf_changed ON job (shelf, changed);
CREATE INDEX ix_recording_job_at ON recording (job, at);
COMMIT;
