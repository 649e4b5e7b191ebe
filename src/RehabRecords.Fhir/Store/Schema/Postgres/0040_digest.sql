-- What each version was when it was stored (SHA-256), so that bytes which changed since are noticed. Versions that are there already
-- are given theirs when the store is opened.
ALTER TABLE version ADD COLUMN digest BYTEA;
