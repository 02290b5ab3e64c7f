-- The log and what a site must remember about itself and its peers. Projections
-- are not here: each domain declares its own, and all of them can be rebuilt.

-- meta holds single values of this store: campaign, own site, own key, epoch.
CREATE TABLE meta (
  name  TEXT PRIMARY KEY,
  value ANY NOT NULL
) STRICT;

-- lane is an ordered stream of change-sets. id is local: it never leaves the store.
CREATE TABLE lane (
  id        INTEGER PRIMARY KEY,
  site      INTEGER NOT NULL, -- first 4 bytes of the hash of the site's key
  epoch     INTEGER NOT NULL,
  class     INTEGER NOT NULL,
  branch    INTEGER NOT NULL, -- 0, or the check of the branch's first change-set
  parent    INTEGER REFERENCES lane(id), -- for a branch: where it leaves
  fork_seq  INTEGER NOT NULL DEFAULT 1,  -- number of its first change-set
  tip       INTEGER NOT NULL DEFAULT 0,  -- number of its last change-set
  tip_hash  BLOB NOT NULL,               -- chain hash at tip
  tip_ctx   INTEGER REFERENCES context(id), -- context at tip, without the lane itself
  UNIQUE (site, epoch, class, branch)
) STRICT;

-- changeset is the log: never updated, save for the lane when a fork is found.
CREATE TABLE changeset (
  lane  INTEGER NOT NULL REFERENCES lane(id),
  seq   INTEGER NOT NULL,
  hash  BLOB NOT NULL,  -- chain hash, SHA-256
  ctx   INTEGER NOT NULL REFERENCES context(id),
  took  INTEGER NOT NULL, -- Unix ms, by this site's clock, when it came here
  bytes BLOB NOT NULL,  -- canonical bytes, exactly as hashed
  PRIMARY KEY (lane, seq)
) STRICT, WITHOUT ROWID;

-- context holds each distinct state of knowledge once: rows of lane (14 bytes of
-- a dot key before its number), seq, check.
CREATE TABLE context (
  id    INTEGER PRIMARY KEY,
  bytes BLOB NOT NULL UNIQUE
) STRICT;

-- statement is a signature of a site over heads of its own lanes, as it came.
CREATE TABLE statement (
  lane  INTEGER NOT NULL REFERENCES lane(id),
  seq   INTEGER NOT NULL, -- the head of this lane that it covers
  bytes BLOB NOT NULL,
  PRIMARY KEY (lane, seq)
) STRICT, WITHOUT ROWID;

-- pending is what came before its predecessor.
CREATE TABLE pending (
  site INTEGER NOT NULL, epoch INTEGER NOT NULL, class INTEGER NOT NULL,
  from_seq  INTEGER NOT NULL,
  to_seq    INTEGER NOT NULL,
  previous  BLOB NOT NULL, -- chain hash before from_seq
  head      BLOB NOT NULL, -- chain hash at to_seq
  statement BLOB NOT NULL,
  sets      BLOB NOT NULL, -- uvarint length and canonical bytes, per change-set
  took      INTEGER NOT NULL,
  PRIMARY KEY (site, epoch, class, from_seq, head)
) STRICT, WITHOUT ROWID;

-- site_key is every site of the campaign that this store has heard of. trusted is
-- a decision of this store alone.
CREATE TABLE site_key (
  site    INTEGER PRIMARY KEY,
  key     BLOB NOT NULL,
  code    TEXT NOT NULL,
  trusted INTEGER NOT NULL DEFAULT 0
) STRICT;

-- peer_clock is what another site last said that it has: its acknowledgement.
CREATE TABLE peer_clock (
  peer  INTEGER NOT NULL,
  lane  BLOB NOT NULL,    -- 11 bytes of a dot key
  seq   INTEGER NOT NULL, -- as far as its claim agrees with our chain
  claim INTEGER NOT NULL, -- as it claimed
  PRIMARY KEY (peer, lane)
) STRICT, WITHOUT ROWID;

-- peer is when we last heard from, and last wrote to, another site.
CREATE TABLE peer (
  peer      INTEGER PRIMARY KEY,
  heard_at  INTEGER NOT NULL DEFAULT 0, -- Unix ms, our clock
  their_at  INTEGER NOT NULL DEFAULT 0, -- stamp in the newest bundle heard
  wrote_at  INTEGER NOT NULL DEFAULT 0,
  told      BLOB, -- context bytes of what we said we have, in the last bundle for it; NULL: to be said (again)
  skew_ms   INTEGER NOT NULL DEFAULT 0  -- their clock minus ours, when heard
) STRICT;

-- bundle_taken says which bundle files were taken, by hash, for the record.
CREATE TABLE bundle_taken (
  digest BLOB PRIMARY KEY,
  peer   INTEGER NOT NULL,
  took   INTEGER NOT NULL,
  bytes  INTEGER NOT NULL,
  sets   INTEGER NOT NULL -- change-sets that were new
) STRICT, WITHOUT ROWID;

-- person_secret holds private keys of persons who sign here, each locked by its
-- owner's passphrase. It never travels.
CREATE TABLE person_secret (
  key    BLOB PRIMARY KEY, -- public key
  person BLOB NOT NULL,    -- dot key of the person
  locked BLOB NOT NULL
) STRICT, WITHOUT ROWID;

-- peer_sent is how far bundles made for another site went, delivered or not.
CREATE TABLE peer_sent (
  peer INTEGER NOT NULL,
  lane BLOB NOT NULL,
  seq  INTEGER NOT NULL,
  PRIMARY KEY (peer, lane)
) STRICT, WITHOUT ROWID;
