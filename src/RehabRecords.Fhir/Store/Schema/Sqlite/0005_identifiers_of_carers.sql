-- A RelatedPerson is one person's carer. Somebody who cares for two people is two of them, under the same identifier, so
-- theirs are unique within the person they care for: "scope" is the number of that person, and 0 for every other type.
CREATE TABLE claim_new (
  type     TEXT    NOT NULL,
  system   TEXT    NOT NULL,
  value    TEXT    NOT NULL,
  scope    INTEGER NOT NULL,
  id       TEXT    NOT NULL,
  person   INTEGER NOT NULL,
  PRIMARY KEY (type, system, value, scope)
) WITHOUT ROWID;
INSERT INTO claim_new (type, system, value, scope, id, person)
  SELECT type, system, value, CASE WHEN type='RelatedPerson' THEN person ELSE 0 END, id, person FROM claim;
DROP TABLE claim;
ALTER TABLE claim_new RENAME TO claim;
CREATE INDEX claim_of_resource ON claim (type, id);
