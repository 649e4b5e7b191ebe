-- The same tables as in the other engine, with the same names and columns. Texts are compared by their bytes, whatever the
-- database's own collation is. "person" is a number made from the id of the Patient a row is about (0 for none): rows of one
-- person are kept in one partition, and a distributed engine can spread the tables by it.

-- One row for each resource: which version is current. On its unique key rests that a version is followed by one other only,
-- so it is not partitioned: a key of partitions would have to hold the person, whom a resource may change.
CREATE TABLE resource (
  num      BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  type     TEXT COLLATE "C" NOT NULL,
  id       TEXT COLLATE "C" NOT NULL,
  version  BIGINT NOT NULL,
  deleted  BIGINT NOT NULL,
  updated  BIGINT NOT NULL,
  seq      BIGINT NOT NULL,
  person   BIGINT NOT NULL,
  UNIQUE (type, id)
) WITH (fillfactor = 80);
CREATE INDEX resource_of_type ON resource (type, deleted, num);
CREATE INDEX resource_by_time ON resource (type, updated, num);
CREATE INDEX resource_of_person ON resource (person, type, id);

-- Every version there ever was, as the bytes that are served. "seq" is the order of commits: numbers are given while the
-- lock of writers is held, so a later one never becomes visible before an earlier one.
CREATE SEQUENCE version_number;
CREATE TABLE version (
  seq      BIGINT NOT NULL DEFAULT nextval('version_number'),
  type     TEXT COLLATE "C" NOT NULL,
  id       TEXT COLLATE "C" NOT NULL,
  version  BIGINT NOT NULL,
  deleted  BIGINT NOT NULL,
  updated  BIGINT NOT NULL,
  person   BIGINT NOT NULL,
  json     BYTEA NOT NULL,
  PRIMARY KEY (seq, person),
  UNIQUE (type, id, version, person)
) PARTITION BY HASH (person);
CREATE INDEX version_of_type ON version (type, seq);
CREATE INDEX version_by_time ON version (updated, seq);
CREATE INDEX version_by_person ON version (person, type, id) WHERE person <> 0;

-- Who holds a business identifier: the unique row on which conditional creation rests. "scope" is the person for a
-- RelatedPerson, and 0 for every other type.
CREATE TABLE claim (
  type     TEXT COLLATE "C" NOT NULL,
  system   TEXT COLLATE "C" NOT NULL,
  value    TEXT COLLATE "C" NOT NULL,
  scope    BIGINT NOT NULL,
  id       TEXT COLLATE "C" NOT NULL,
  person   BIGINT NOT NULL,
  PRIMARY KEY (type, system, value, scope)
);
CREATE INDEX claim_of_resource ON claim (type, id);

-- What was answered to a key, so that a repeated post is answered alike.
CREATE TABLE answer (
  client   TEXT COLLATE "C" NOT NULL,
  key      TEXT COLLATE "C" NOT NULL,
  hash     TEXT COLLATE "C" NOT NULL,
  status   BIGINT NOT NULL,
  location TEXT COLLATE "C" NOT NULL,
  body     BYTEA NOT NULL,
  made     BIGINT NOT NULL,
  PRIMARY KEY (client, key)
);
CREATE INDEX answer_by_time ON answer (made);

-- The search index. "parameter" is the stable number of "Type?code".
CREATE TABLE token_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, system TEXT COLLATE "C" NOT NULL, code TEXT COLLATE "C" NOT NULL, person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, system, code, person)
) PARTITION BY HASH (person);
CREATE INDEX token_by_code ON token_row (parameter, code, res) INCLUDE (person);

CREATE TABLE date_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, start BIGINT NOT NULL, finish BIGINT NOT NULL, person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, start, finish, person)
) PARTITION BY HASH (person);
CREATE INDEX date_by_start ON date_row (parameter, start, res, finish) INCLUDE (person);
CREATE INDEX date_by_finish ON date_row (parameter, finish, res, start) INCLUDE (person);

CREATE TABLE reference_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, target TEXT COLLATE "C" NOT NULL, version TEXT COLLATE "C" NOT NULL, person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, target, version, person)
) PARTITION BY HASH (person);
CREATE INDEX reference_by_target ON reference_row (target, parameter, res) INCLUDE (person);

-- An entry of an index must fit into part of a page: of a long text its beginning is indexed.
CREATE TABLE string_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL, folded TEXT COLLATE "C" NOT NULL, exact TEXT COLLATE "C" NOT NULL, person BIGINT NOT NULL,
  head TEXT COLLATE "C" GENERATED ALWAYS AS (left(folded, 250)) STORED,
  PRIMARY KEY (res, parameter, place, person)
) PARTITION BY HASH (person);
CREATE INDEX string_by_head ON string_row (parameter, head, res) INCLUDE (person);

CREATE TABLE quantity_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL,
  system TEXT COLLATE "C" NOT NULL, code TEXT COLLATE "C" NOT NULL, unit TEXT COLLATE "C" NOT NULL, low DOUBLE PRECISION NOT NULL, high DOUBLE PRECISION NOT NULL,
  base TEXT COLLATE "C" NOT NULL, base_low DOUBLE PRECISION, base_high DOUBLE PRECISION, person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, place, person)
) PARTITION BY HASH (person);
CREATE INDEX quantity_by_value ON quantity_row (parameter, code, low, high, res);
CREATE INDEX quantity_by_base ON quantity_row (parameter, base, base_low, base_high, res);

CREATE TABLE uri_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, value TEXT COLLATE "C" NOT NULL, person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, value, person)
) PARTITION BY HASH (person);
CREATE INDEX uri_by_value ON uri_row (parameter, value, res) INCLUDE (person);

-- Composites: a code with the value beside it in the same element. The second part has the columns of its own kind.
CREATE TABLE pair_row (
  res BIGINT NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL, first_system TEXT COLLATE "C" NOT NULL, first_code TEXT COLLATE "C" NOT NULL,
  system TEXT COLLATE "C", code TEXT COLLATE "C", unit TEXT COLLATE "C", low DOUBLE PRECISION, high DOUBLE PRECISION,
  base TEXT COLLATE "C", base_low DOUBLE PRECISION, base_high DOUBLE PRECISION,
  start BIGINT, finish BIGINT, folded TEXT COLLATE "C", exact TEXT COLLATE "C", target TEXT COLLATE "C", version TEXT COLLATE "C", person BIGINT NOT NULL,
  PRIMARY KEY (res, parameter, place, person)
) PARTITION BY HASH (person);
CREATE INDEX pair_by_code ON pair_row (parameter, first_code, res);

-- Facts about the store itself, such as the edition of the search index.
CREATE TABLE fact (name TEXT COLLATE "C" PRIMARY KEY, value TEXT COLLATE "C" NOT NULL);
INSERT INTO fact (name, value) VALUES ('partitions', '$partitions$');

DO $$
BEGIN
  FOR place IN 0 .. $partitions$ - 1 LOOP
    EXECUTE format('CREATE TABLE version_%s PARTITION OF version FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE token_row_%s PARTITION OF token_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE date_row_%s PARTITION OF date_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE reference_row_%s PARTITION OF reference_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE string_row_%s PARTITION OF string_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE quantity_row_%s PARTITION OF quantity_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE uri_row_%s PARTITION OF uri_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
    EXECUTE format('CREATE TABLE pair_row_%s PARTITION OF pair_row FOR VALUES WITH (MODULUS $partitions$, REMAINDER %s)', place, place);
  END LOOP;
END $$;
