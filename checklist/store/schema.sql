-- Schema 3 of a site's database. Numbers that must be unique are unique here too.
-- References are checked at the end of a transaction, so that a change may
-- replace rows in any order.

CREATE TABLE propwright_schema (version INTEGER NOT NULL);
INSERT INTO propwright_schema (version) VALUES (3);

CREATE TABLE controller (
  name    TEXT    NOT NULL PRIMARY KEY,
  network TEXT    NOT NULL,
  card    TEXT    NOT NULL,
  address TEXT    NOT NULL,
  port    INTEGER NOT NULL CHECK (port BETWEEN 1 AND 65535),
  unit    INTEGER NOT NULL CHECK (unit BETWEEN 0 AND 255),
  base    INTEGER NOT NULL CHECK (base IN (0, 1)),
  UNIQUE (network, address, port, unit)
);

CREATE TABLE board (
  name       TEXT    NOT NULL PRIMARY KEY,
  network    TEXT    NOT NULL,
  mac        TEXT    UNIQUE,             -- NULL: not planned
  ip         TEXT,                       -- NULL: not planned
  ip_bits    INTEGER CHECK (ip_bits BETWEEN 1 AND 31),
  gateway    TEXT,
  controller TEXT REFERENCES controller (name) DEFERRABLE INITIALLY DEFERRED,
  firmware   TEXT    NOT NULL,
  speed      INTEGER NOT NULL CHECK (speed > 0),
  polarity   TEXT    NOT NULL CHECK (polarity IN ('', 'active-high', 'active-low')),
  leaving    TEXT    NOT NULL CHECK (leaving IN ('', 'reported', 'silent')),
  lamps      TEXT    NOT NULL,           -- names with commas between
  supply_v   REAL    NOT NULL CHECK (supply_v > 0),
  lists      TEXT    NOT NULL DEFAULT '' CHECK (lists IN ('', 'board', 'reader')),
  UNIQUE (network, ip),
  UNIQUE (name, controller),
  CHECK ((ip IS NULL) = (ip_bits IS NULL))
);

-- controller repeats the board's, so that a coil can be unique at a controller;
-- the second reference keeps the two the same.
CREATE TABLE reader (
  board      TEXT    NOT NULL,
  idx        INTEGER NOT NULL CHECK (idx >= 0),
  controller TEXT    NOT NULL,
  coil       INTEGER NOT NULL CHECK (coil BETWEEN 0 AND 65536),
  behaviour  TEXT    NOT NULL CHECK (behaviour IN ('follows', 'pulse', 'toggle')),
  at_boot    TEXT    NOT NULL CHECK (at_boot IN ('', 'on', 'off')),
  when_dead  TEXT    NOT NULL DEFAULT '' CHECK (when_dead IN ('', 'stays', 'off')),
  after_reset TEXT   NOT NULL DEFAULT '' CHECK (after_reset IN ('', 'keeps', 'off')),
  PRIMARY KEY (board, idx),
  UNIQUE (controller, coil),
  FOREIGN KEY (board, controller) REFERENCES board (name, controller) DEFERRABLE INITIALLY DEFERRED
);

CREATE TABLE prop (
  name     TEXT    NOT NULL PRIMARY KEY,
  room     TEXT    NOT NULL CHECK (room <> ''),
  place    TEXT    NOT NULL,
  cover    TEXT    NOT NULL,
  cover_mm REAL    NOT NULL CHECK (cover_mm >= 0),
  drives   TEXT    NOT NULL CHECK (drives IN ('light', 'effect', 'door', 'motion')),
  board    TEXT    UNIQUE REFERENCES board (name) DEFERRABLE INITIALLY DEFERRED,
  reach_ns INTEGER NOT NULL CHECK (reach_ns >= 0),
  open_ns  INTEGER NOT NULL CHECK (open_ns >= 0),
  photo    TEXT    NOT NULL
);

CREATE TABLE tag (
  name   TEXT NOT NULL PRIMARY KEY,
  uid    TEXT NOT NULL UNIQUE,
  role   TEXT NOT NULL CHECK (role IN ('show', 'spare', 'master', 'stranger')),
  prop   TEXT REFERENCES prop (name) DEFERRABLE INITIALLY DEFERRED,
  keeper TEXT NOT NULL,
  form   TEXT NOT NULL CHECK (form IN ('', 'card', 'fob', 'sticker')),
  state  TEXT NOT NULL CHECK (state IN ('in-use', 'lost', 'retired'))
);

-- What happened to a prop between its reports. Written once.
CREATE TABLE service (
  n       INTEGER NOT NULL PRIMARY KEY CHECK (n > 0),
  prop    TEXT    NOT NULL REFERENCES prop (name) DEFERRABLE INITIALLY DEFERRED,
  at      TEXT    NOT NULL,              -- RFC 3339, UTC
  kind    TEXT    NOT NULL CHECK (kind IN ('repaired', 'swapped', 'by-passed', 'back', 'incident', 'moved', 'held', 'released')),
  text    TEXT    NOT NULL CHECK (text <> ''),
  by_whom TEXT    NOT NULL CHECK (by_whom <> ''),
  board   TEXT    NOT NULL,
  report  INTEGER NOT NULL CHECK (report >= 0)
);
CREATE TRIGGER service_not_deleted BEFORE DELETE ON service BEGIN SELECT RAISE(ABORT, 'the service log is only ever added to'); END;
CREATE TRIGGER service_not_changed BEFORE UPDATE ON service BEGIN SELECT RAISE(ABORT, 'the service log is only ever added to'); END;
