-- What each version was when it was stored (SHA-256), so that bytes which changed since are noticed. Versions that are there already
-- are given theirs when the store is opened; the index finds them, and is empty afterwards.
ALTER TABLE version ADD COLUMN digest BLOB;
CREATE INDEX version_without_digest ON version (seq) WHERE digest IS NULL;
