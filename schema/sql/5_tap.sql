-- tap is each tap of a page that was taken, so that one which comes again, because
-- the answer was lost on the way, is not carried out twice. It never leaves the
-- store: the page talks to this one.
CREATE TABLE tap (
  person BLOB NOT NULL,
  id     TEXT NOT NULL,    -- drawn by the page
  at     INTEGER NOT NULL, -- Unix ms
  said   TEXT NOT NULL,    -- the answer
  PRIMARY KEY (person, id)
) STRICT, WITHOUT ROWID;
