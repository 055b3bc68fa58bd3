-- From an empty file to version 1. Lists that belong to one visit and are only read with it are JSON.
CREATE TABLE machine (
  id INTEGER PRIMARY KEY,
  tag TEXT NOT NULL UNIQUE,
  class TEXT,
  profile TEXT NOT NULL
) STRICT;

CREATE TABLE visit (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  machine INTEGER NOT NULL REFERENCES machine (id),
  date TEXT NOT NULL,
  complaint TEXT,
  checks TEXT NOT NULL,
  before TEXT,
  after TEXT,
  screws_found TEXT NOT NULL,
  screws_left TEXT NOT NULL,
  moves TEXT NOT NULL,
  proof TEXT NOT NULL,
  verdict TEXT,
  faults TEXT NOT NULL,
  notes TEXT,
  air_temperature_c REAL,
  altitude_m REAL,
  fuel TEXT
) STRICT;

CREATE INDEX visit_of_machine ON visit (machine, date, id);

CREATE TABLE clip (
  visit INTEGER NOT NULL REFERENCES visit (id),
  place INTEGER NOT NULL,
  moment TEXT NOT NULL,
  path TEXT NOT NULL,
  sha256 BLOB NOT NULL,
  PRIMARY KEY (visit, place)
) STRICT, WITHOUT ROWID;
