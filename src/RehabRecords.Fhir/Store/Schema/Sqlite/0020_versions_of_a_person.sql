-- What was about a person in an earlier version only belongs to the whole record too; by this it is found without a look
-- at anybody else's.
CREATE INDEX version_by_person ON version (person, type, id) WHERE person <> 0;
