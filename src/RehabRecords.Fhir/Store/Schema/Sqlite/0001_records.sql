-- One row for each resource: which version is current. "person" is a number made from the id of the Patient a resource
-- is about (0 for none): it keeps a record together, and is the key by which a distributed engine can spread rows.
CREATE TABLE resource (
  num      INTEGER PRIMARY KEY,
  type     TEXT    NOT NULL,
  id       TEXT    NOT NULL,
  version  INTEGER NOT NULL,
  deleted  INTEGER NOT NULL,
  updated  INTEGER NOT NULL,
  seq      INTEGER NOT NULL,
  person   INTEGER NOT NULL,
  UNIQUE (type, id)
);
CREATE INDEX resource_of_type ON resource (type, deleted);
CREATE INDEX resource_by_time ON resource (type, updated);

-- Every version there ever was, as the bytes that are served. "seq" is the order of commits.
CREATE TABLE version (
  seq      INTEGER PRIMARY KEY AUTOINCREMENT,
  type     TEXT    NOT NULL,
  id       TEXT    NOT NULL,
  version  INTEGER NOT NULL,
  deleted  INTEGER NOT NULL,
  updated  INTEGER NOT NULL,
  person   INTEGER NOT NULL,
  json     BLOB    NOT NULL,
  UNIQUE (type, id, version)
);

-- Who holds a business identifier: the unique row on which conditional creation rests.
CREATE TABLE claim (
  type     TEXT    NOT NULL,
  system   TEXT    NOT NULL,
  value    TEXT    NOT NULL,
  id       TEXT    NOT NULL,
  person   INTEGER NOT NULL,
  PRIMARY KEY (type, system, value)
) WITHOUT ROWID;
CREATE INDEX claim_of_resource ON claim (type, id);

-- What was answered to a key, so that a repeated post is answered alike.
CREATE TABLE answer (
  client   TEXT    NOT NULL,
  key      TEXT    NOT NULL,
  hash     TEXT    NOT NULL,
  status   INTEGER NOT NULL,
  location TEXT    NOT NULL,
  body     BLOB    NOT NULL,
  made     INTEGER NOT NULL,
  PRIMARY KEY (client, key)
) WITHOUT ROWID;
CREATE INDEX answer_by_time ON answer (made);

-- The search index. "parameter" is the stable number of "Type?code".
CREATE TABLE token_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, system TEXT NOT NULL, code TEXT NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, system, code)
) WITHOUT ROWID;
CREATE INDEX token_by_code ON token_row (parameter, code, res, system);

CREATE TABLE date_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, start INTEGER NOT NULL, finish INTEGER NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, start, finish)
) WITHOUT ROWID;
CREATE INDEX date_by_start ON date_row (parameter, start, finish, res);

CREATE TABLE reference_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, target TEXT NOT NULL, version TEXT NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, target, version)
) WITHOUT ROWID;
CREATE INDEX reference_by_target ON reference_row (parameter, target, res, version);

CREATE TABLE string_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL, folded TEXT NOT NULL, exact TEXT NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, place)
) WITHOUT ROWID;
CREATE INDEX string_by_folded ON string_row (parameter, folded, res);

CREATE TABLE quantity_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL,
  system TEXT NOT NULL, code TEXT NOT NULL, unit TEXT NOT NULL, low REAL NOT NULL, high REAL NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, place)
) WITHOUT ROWID;
CREATE INDEX quantity_by_value ON quantity_row (parameter, code, low, high, res);

CREATE TABLE uri_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, value TEXT NOT NULL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, value)
) WITHOUT ROWID;
CREATE INDEX uri_by_value ON uri_row (parameter, value, res);

-- Facts about the store itself, such as the edition of the search index.
CREATE TABLE fact (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
