-- Whom this store believes. Who introduced whom follows from the log.

-- distrusted: a person here decided against the site, whoever introduced it.
ALTER TABLE site_key ADD COLUMN distrusted INTEGER NOT NULL DEFAULT 0;
