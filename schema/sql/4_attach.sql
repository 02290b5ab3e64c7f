-- The content of attachments. It is no part of the log: it comes in parcels of its
-- own, only where it is wanted, and can be dropped to make room.

-- attachment_content is each content that is here, whole and with the hash that
-- names it: it comes and goes in one transaction with all of its chunks.
CREATE TABLE attachment_content (
  id         INTEGER PRIMARY KEY, -- local: it never leaves the store
  hash       BLOB UNIQUE,         -- SHA-256; NULL only inside the transaction that reads it in
  size_bytes INTEGER NOT NULL,
  took       INTEGER NOT NULL     -- Unix ms, by this site's clock, when it came here
) STRICT;

-- attachment_chunk is a stretch of a content: all but the last are 64 KiB.
CREATE TABLE attachment_chunk (
  content INTEGER NOT NULL REFERENCES attachment_content(id) ON DELETE CASCADE,
  number  INTEGER NOT NULL, -- from 0
  bytes   BLOB NOT NULL,
  PRIMARY KEY (content, number)
) STRICT;
