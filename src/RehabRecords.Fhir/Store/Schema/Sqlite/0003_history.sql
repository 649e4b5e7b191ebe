-- The history of a type, and of everything since a time, is read backwards in the order of commits.
CREATE INDEX version_of_type ON version (type, seq);
CREATE INDEX version_by_time ON version (updated, seq);
