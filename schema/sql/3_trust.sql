-- Whom this store believes. Who introduced whom follows from the log.

-- distrusted: a person here decided against the site, whoever introduced it.
ALTER TABLE site_key ADD COLUMN distrusted INTEGER NOT NULL DEFAULT 0;

-- quarantine is what sites wrote beyond where they were cut off. It is no part of the
-- log: it is in no projection, and never relayed or acknowledged.
CREATE TABLE quarantine (
  site INTEGER NOT NULL, epoch INTEGER NOT NULL, class INTEGER NOT NULL,
  seq       INTEGER NOT NULL,
  hash      BLOB NOT NULL,
  previous  BLOB NOT NULL, -- chain hash before seq
  bytes     BLOB NOT NULL, -- canonical bytes
  statement BLOB,          -- the signature that ends here, if one does
  took      INTEGER NOT NULL,
  peer      INTEGER NOT NULL, -- whose bundle brought it; 0: it was in the log before
  PRIMARY KEY (site, epoch, class, seq, hash)
) STRICT, WITHOUT ROWID;
