-- What is left of a person whose record was erased: that it was, when, by whom and on which basis. Nothing about the person.
CREATE TABLE tombstone (
  id       TEXT PRIMARY KEY,
  made     INTEGER NOT NULL,
  body     BLOB NOT NULL
) WITHOUT ROWID;

-- Keyed hashes of the addresses that were erased, so that a read can say so.
CREATE TABLE erased (
  mark      TEXT PRIMARY KEY,
  tombstone TEXT NOT NULL
) WITHOUT ROWID;

-- Events of the audit trail from which what told of the person was taken: the hash of what is left stands in for what the link was made from.
CREATE TABLE audit_gap (
  n         INTEGER NOT NULL,
  tombstone TEXT NOT NULL,
  remaining TEXT NOT NULL,
  PRIMARY KEY (n, tombstone)
) WITHOUT ROWID;
