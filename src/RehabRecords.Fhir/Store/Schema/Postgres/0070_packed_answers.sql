-- From here on an answer may be kept packed (gzip). A program that does not know would give the packed bytes out: by this step it refuses to start.
COMMENT ON COLUMN answer.body IS 'as it was answered, or that packed with gzip';
