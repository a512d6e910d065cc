-- A memory card is written by whole pages, so what is heard together should lie together. An index by source alone has
-- a page for almost every frame of a minute; by stretches of 256 frames, and by source within each, it has one or two
-- for all of them, and as many for those of a minute that age out.
DROP INDEX heard_by_source;
CREATE INDEX heard_by_source ON heard (id >> 8, source) WHERE source IS NOT NULL;

-- Whoever asks for a source alone has it looked up in every stretch, once SQLite knows how long these are: rows in the
-- whole index, in a stretch, and of one source in it ("The SQLite Query Optimizer Overview", section 6, skip-scan).
ANALYZE sqlite_master;
DELETE FROM sqlite_stat1;
INSERT INTO sqlite_stat1 VALUES ('heard', 'heard_by_source', '500000 256 2'), ('heard', 'heard_by_time', '500000 1');
ANALYZE sqlite_master;
