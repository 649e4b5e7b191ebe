-- The chain of the audit trail: each link holds a hash over an AuditEvent and over the link before it, so that taking
-- one away or changing it breaks every link after. "seq" is where the event stood in the order of commits when it was linked.
CREATE TABLE audit_link (
  n        INTEGER PRIMARY KEY,
  seq      INTEGER NOT NULL,
  id       TEXT    NOT NULL,
  version  INTEGER NOT NULL,
  hash     TEXT    NOT NULL,
  UNIQUE (id, version)
);
