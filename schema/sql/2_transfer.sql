-- What goes and comes in fragments. None of it is part of the log: what is dropped
-- here is sent again. sync/transfer says in what order, and how much is kept.

-- fragment_set is a parcel of which fragments have come, and how it was cut.
CREATE TABLE fragment_set (
  id       INTEGER PRIMARY KEY,
  name     BLOB NOT NULL,    -- first 4 bytes of the parcel's SHA-256
  data     INTEGER NOT NULL, -- fragments that hold the parcel
  parity   INTEGER NOT NULL,
  size     INTEGER NOT NULL, -- bytes in each
  length   INTEGER NOT NULL, -- bytes of the parcel
  sender   INTEGER NOT NULL DEFAULT 0, -- site, as the carrier has it; 0: not known
  first_at INTEGER NOT NULL, -- Unix ms, our clock
  grew_at  INTEGER NOT NULL,
  done     INTEGER NOT NULL DEFAULT 0, -- 1: taken; late fragments are passed over
  trouble  TEXT NOT NULL DEFAULT '',   -- why the parcel was not taken though enough is here
  UNIQUE (name, data, parity, size, length)
) STRICT;

-- fragment holds what came of sets that are not done. Those with higher ids came
-- later. Bodies that differ can be here for one place: one of them is false.
CREATE TABLE fragment (
  id    INTEGER PRIMARY KEY,
  owner INTEGER NOT NULL REFERENCES fragment_set(id) ON DELETE CASCADE,
  place INTEGER NOT NULL,
  body  BLOB NOT NULL
) STRICT;

-- by place, to find what is there already
CREATE INDEX fragment_place ON fragment (owner, place);

-- fragment_sent holds parcels that were sent in fragments, to send some again,
-- until the other site has said that it has what is in them.
CREATE TABLE fragment_sent (
  id      INTEGER PRIMARY KEY,
  name    BLOB NOT NULL,
  data    INTEGER NOT NULL,
  parity  INTEGER NOT NULL,
  size    INTEGER NOT NULL,
  length  INTEGER NOT NULL,
  peer    INTEGER NOT NULL,
  lanes   BLOB NOT NULL,    -- rows of 11 bytes of a dot key and 8 of a number: where each lane in it ends
  made_at INTEGER NOT NULL, -- Unix ms; when some of it was last sent again
  slot    TEXT NOT NULL,    -- of the carrier, by an exchange, that sends only what came after while it is on its way; else empty
  parcel  BLOB NOT NULL,
  UNIQUE (name, data, parity, size, length)
) STRICT;

-- peer_way says how parcels go to another site.
CREATE TABLE peer_way (
  peer INTEGER PRIMARY KEY,
  seal INTEGER NOT NULL -- 1: closed so that only it can read them
) STRICT;
