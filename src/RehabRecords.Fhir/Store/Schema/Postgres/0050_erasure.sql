-- What is left of a person whose record was erased: that it was, when, by whom and on which basis. Nothing about the person.
CREATE TABLE tombstone (
  id       TEXT COLLATE "C" PRIMARY KEY,
  made     BIGINT NOT NULL,
  body     BYTEA NOT NULL
);

-- Keyed hashes of the addresses that were erased, so that a read can say so.
CREATE TABLE erased (
  mark      TEXT COLLATE "C" PRIMARY KEY,
  tombstone TEXT COLLATE "C" NOT NULL
);

-- Events of the audit trail from which what told of the person was taken: the hash of what is left stands in for what the link was made from.
CREATE TABLE audit_gap (
  n         BIGINT NOT NULL,
  tombstone TEXT COLLATE "C" NOT NULL,
  remaining TEXT COLLATE "C" NOT NULL,
  PRIMARY KEY (n, tombstone)
);
