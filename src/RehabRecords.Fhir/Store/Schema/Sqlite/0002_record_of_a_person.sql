-- A deleted resource stays in its person's record, so its row keeps the number of the person, and so does the version
-- that is its deletion.
UPDATE resource SET person = COALESCE(
  (SELECT v.person FROM version v WHERE v.type=resource.type AND v.id=resource.id AND v.person<>0 ORDER BY v.version DESC LIMIT 1), 0)
WHERE deleted=1;
UPDATE version SET person = COALESCE(
  (SELECT r.person FROM resource r WHERE r.type=version.type AND r.id=version.id), 0)
WHERE deleted=1;
CREATE INDEX resource_of_person ON resource (person, type, id);
