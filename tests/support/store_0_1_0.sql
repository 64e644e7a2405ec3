-- A store as version 0.1.0 wrote it (the last of its code), as statements: two versions of a job, an entry, a recording, a device, a document, a case.
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
INSERT INTO "device" VALUES('10fccf4e46772b19','Anna''s phone','0000000000000000000000000000000000000000000000000000000000000000',1795835443662196,1795835443662196,0);
CREATE TABLE document (
	kind TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	content TEXT NOT NULL, 
	changed BIGINT NOT NULL, 
	PRIMARY KEY (kind, "key")
);
INSERT INTO "document" VALUES('shop','one','{"title":"first"}',1795835443673218);
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
INSERT INTO "job" VALUES('49ae496041c39221',2,2,2,'kept',1795835443504488,1795835443513007,NULL,'blue estate
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
INSERT INTO "job_version" VALUES('49ae496041c39221',1,'Blue estate','# the blue estate, as its owner told it
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
','',1795835443504488);
INSERT INTO "job_version" VALUES('49ae496041c39221',2,'Blue estate','# the blue estate, as its owner told it
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
','bench',1795835443512527);
CREATE TABLE kept_case (
	name TEXT NOT NULL, 
	revision INTEGER NOT NULL, 
	content TEXT NOT NULL, 
	changed BIGINT NOT NULL, words TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (name)
);
INSERT INTO "kept_case" VALUES('blue-estate',1,'{"opened":"2026-11-20","job":"# the blue estate, as its owner told it\nformat: 1\ntitle: Blue estate\nvehicle: {running: 13.8 V}\nallowance: 7 dB\ninstruments:\n  meter: {kind: multimeter, true_rms: yes, accuracy: 1 % + 3 counts, counts: 6000, bandwidth: 1 kHz}\nstages:\n  head:\n    kind: head_unit\n    rated_output: 3.1 V\n    volume: {steps: 47, at: 31}\n    outputs:\n      sub: {sides: [mono]}\n  amp:\n    kind: amplifier\n    from: head.sub\n    power: 270 W @ 4 ohm\n    minimum_load: 2 ohm\n    sensitivity: 0.3 .. 5 V\n    gain: {at: 25 %}\n  sub: {kind: speaker, from: amp, impedance: 4 ohm, power: 250 W, lead: {length: 2 m, area: 2.5 mm\u00b2}}\n"}',1795835443678556,'blue-estate
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
INSERT INTO "recording" VALUES('239b8b3408000d88','49ae496041c39221','tone.wav',844,'{"rate_hz":4000,"channels":[{"channel":1,"seconds":0.1,"verdict":"clean","frequency_hz":499.9998139274192,"rms_dbfs":-5.996940503853042,"peak_dbfs":-6.020599913279624,"fundamental_dbfs":-5.9971052691048765,"thd_percent":0.6136004074381458,"thd_n_percent":0.613588856569134,"harmonics":[{"order":2,"percent":0.0,"phase_deg":null},{"order":3,"percent":0.27014102573404114,"phase_deg":-179.99650907290504},{"order":4,"percent":0.5509349201345098,"phase_deg":-0.00023407826918596774}],"dc_dbfs":-54.18539921951662,"noise_dbfs":-320.0431879726972,"clipped":false,"clip_depth_db":null,"calibrate_v":null,"v_rms":null,"v_peak":null,"fundamental_v_rms":null,"noise_v_rms":null,"dc_v":null,"why_not":{"clip_depth_db":"no flattening was found"},"within":{"frequency_hz":6.630472656890844e-06,"fundamental_dbfs":1.0445952356968619e-05,"rms_dbfs":1.0445952356968619e-05,"thd_percent":0.00024052694179281961,"volts_percent":0.00012026347089640981}}],"calibrate_v":null,"about":{}}',1795835443654941);
CREATE TABLE recording_content (
	recording TEXT NOT NULL, 
	content BLOB NOT NULL, 
	PRIMARY KEY (recording), 
	FOREIGN KEY(recording) REFERENCES recording (id) ON DELETE CASCADE
);
INSERT INTO "recording_content" VALUES('239b8b3408000d88',X'524946464403000057415645666D74201000000001000100A00F0000A00F000001000800646174612003000080ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD8052405280ADC0AD80524052');
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
INSERT INTO "run_entry" VALUES('49ae496041c39221',1,'gain','reading','2,1 V','{"v":2.1}','phone',1795835443518822);
CREATE INDEX ix_job_shelf_changed ON job (shelf, changed);
CREATE INDEX ix_recording_job_at ON recording (job, at);
COMMIT;
