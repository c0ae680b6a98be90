-- A logbook as the first version of the tables kept it, with rows in every table. It is never made anew.
PRAGMA application_id = 1414873687;
BEGIN TRANSACTION;
CREATE TABLE account (
	id TEXT NOT NULL, 
	name TEXT NOT NULL, 
	"key" TEXT NOT NULL, 
	password TEXT NOT NULL, 
	owner INTEGER NOT NULL, 
	created TEXT NOT NULL, 
	closed TEXT, 
	PRIMARY KEY (id), 
	UNIQUE ("key")
)
 STRICT

;
INSERT INTO "account" VALUES('1','Ada','ada','$argon2id$hash',1,'2026-11-01T08:00:00+00:00',NULL);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('1');
CREATE TABLE device (
	id TEXT NOT NULL, 
	account TEXT NOT NULL, 
	name TEXT NOT NULL, 
	joined TEXT NOT NULL, 
	withdrawn TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(account) REFERENCES account (id)
)
 STRICT

;
INSERT INTO "device" VALUES('d','1','phone','2026-11-01T08:05:00+00:00',NULL);
CREATE TABLE entry (
	place INTEGER NOT NULL, 
	id TEXT NOT NULL, 
	tub TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	happened TEXT NOT NULL, 
	recorded TEXT NOT NULL, 
	actor TEXT NOT NULL, 
	device TEXT NOT NULL, 
	sequence INTEGER, 
	sent TEXT, 
	body TEXT NOT NULL, 
	"after" TEXT NOT NULL, 
	PRIMARY KEY (place), 
	UNIQUE (id)
)
 STRICT

;
INSERT INTO "entry" VALUES(1,'larch-tub','larch','tub','2026-11-01T09:00:00+01:00','2026-11-01T08:00:00+00:00','1','',NULL,NULL,'{"tub":{"name":"the tub by the larch","volume":"1300 L","sanitizer":"bromine"}}','');
INSERT INTO "entry" VALUES(2,'larch-shelf','larch','shelf','2026-11-01T09:00:00+01:00','2026-11-01T08:00:00+00:00','1','',NULL,NULL,'{"product":[]}','');
INSERT INTO "entry" VALUES(3,'a','larch','test','2026-11-02T09:00:00+01:00','2026-11-02T08:00:01+00:00','1','d',4,'2026-11-02T08:00:00.500000+00:00','{"method":"strip","bromine":[1,2],"pH":7.8}','');
INSERT INTO "entry" VALUES(4,'b','larch','corrected','2026-11-02T09:00:00+01:00','2026-11-02T08:10:00+00:00','1','',NULL,NULL,'{"entry":"a","body":{"method":"strip","bromine":[2,3],"pH":7.8}}','');
CREATE TABLE kit (
	id TEXT NOT NULL, 
	method TEXT NOT NULL, 
	name TEXT NOT NULL, 
	tub TEXT NOT NULL, 
	account TEXT, 
	opened TEXT, 
	spoils TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(account) REFERENCES account (id)
)
 STRICT

;
INSERT INTO "kit" VALUES('k','strip','the strips in the shed','larch','1','2026-10-01T00:00:00+02:00','2027-10-01T00:00:00+02:00');
CREATE TABLE token (
	id TEXT NOT NULL, 
	account TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	digest TEXT NOT NULL, 
	created TEXT NOT NULL, 
	name TEXT NOT NULL, 
	device TEXT, 
	most TEXT NOT NULL, 
	expires TEXT, 
	used TEXT, 
	withdrawn TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(account) REFERENCES account (id), 
	UNIQUE (digest), 
	FOREIGN KEY(device) REFERENCES device (id)
)
 STRICT

;
INSERT INTO "token" VALUES('t','1','session','digest','2026-11-01T08:05:00+00:00','phone','d','keeper','2027-12-06T08:05:00+00:00',NULL,NULL);
CREATE INDEX entry_of_tub ON entry (tub, place);
CREATE UNIQUE INDEX entry_follows_one ON entry (tub, kind, "after") WHERE kind IN ('tub', 'shelf');
CREATE INDEX ix_device_account ON device (account);
CREATE INDEX ix_token_account ON token (account);
COMMIT;
