-- Amounts also in base units, so that 90 s are found by 1.5 min. All rows are made again from the stored resources when
-- the store is opened, since the edition of the index has changed.
DROP TABLE quantity_row;
CREATE TABLE quantity_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL,
  system TEXT NOT NULL, code TEXT NOT NULL, unit TEXT NOT NULL, low REAL NOT NULL, high REAL NOT NULL,
  base TEXT NOT NULL, base_low REAL, base_high REAL, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, place)
) WITHOUT ROWID;
CREATE INDEX quantity_by_value ON quantity_row (parameter, code, low, high, res);
CREATE INDEX quantity_by_base ON quantity_row (parameter, base, base_low, base_high, res);

-- Composites: a code with the value beside it in the same element. The second part has the columns of its own kind.
CREATE TABLE pair_row (
  res INTEGER NOT NULL, parameter INTEGER NOT NULL, place INTEGER NOT NULL, first_system TEXT NOT NULL, first_code TEXT NOT NULL,
  system TEXT, code TEXT, unit TEXT, low REAL, high REAL, base TEXT, base_low REAL, base_high REAL,
  start INTEGER, finish INTEGER, folded TEXT, exact TEXT, target TEXT, version TEXT, person INTEGER NOT NULL,
  PRIMARY KEY (res, parameter, place)
) WITHOUT ROWID;
CREATE INDEX pair_by_code ON pair_row (parameter, first_code, res);

-- In the order of a date and then of the rows' own numbers, both ways, a page is read without sorting.
DROP INDEX date_by_start;
CREATE INDEX date_by_start ON date_row (parameter, start, res, finish);
CREATE INDEX date_by_finish ON date_row (parameter, finish, res, start);
