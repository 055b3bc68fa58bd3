CREATE TABLE run (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  program TEXT NOT NULL,
  format TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('running', 'put-together', 'in-order', 'whole')),
  round INTEGER NOT NULL,
  length INTEGER NOT NULL,
  modified_ns INTEGER NOT NULL
) STRICT;
CREATE TABLE clip (
  key BLOB PRIMARY KEY,
  size INTEGER NOT NULL,
  modified_ns INTEGER NOT NULL,
  changed_ns INTEGER NOT NULL,
  settled INTEGER NOT NULL,
  sha256 BLOB NOT NULL,
  profile BLOB NOT NULL,
  brief TEXT NOT NULL,
  place INTEGER NOT NULL CHECK (place IN (0, 1, 2)),
  start INTEGER NOT NULL CHECK (start >= 0),
  length INTEGER NOT NULL CHECK (length >= 0),
  round INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
