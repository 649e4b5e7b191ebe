-- The chain of the audit trail: each link holds a hash over an AuditEvent and over the link before it.
CREATE TABLE audit_link (
  n        BIGINT PRIMARY KEY,
  seq      BIGINT NOT NULL,
  id       TEXT COLLATE "C" NOT NULL,
  version  BIGINT NOT NULL,
  hash     TEXT COLLATE "C" NOT NULL,
  UNIQUE (id, version)
);
