-- Finds the versions that have no digest yet; empty afterwards. A step of its own: readers go on while it is made, and would not in
-- the transaction that adds the column.
CREATE INDEX version_without_digest ON version (seq) WHERE digest IS NULL;
