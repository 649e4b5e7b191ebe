-- What each version was when it was stored (SHA-256), so that bytes which changed since are noticed. Versions that are there already
-- are given theirs when the store is opened.
-- Readers stand behind one who waits for a table; so the wait is short, and the start fails instead.
SET LOCAL lock_timeout = '10s';
ALTER TABLE version ADD COLUMN digest BYTEA;
