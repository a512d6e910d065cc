-- Of frames that count for the reach of the antenna: how far away their sender was, and in which sector of ten degrees.
-- -1 is one too far away to be believed. NULL in all others.
ALTER TABLE heard ADD COLUMN distance_m INTEGER;
ALTER TABLE heard ADD COLUMN sector INTEGER;
CREATE INDEX heard_direct ON heard (time_ms, sector, distance_m, source) WHERE sector IS NOT NULL;

-- Sums of an hour of UTC, counted since 1970. `what` is `forward`, the reason why frames were kept, `sent`, or `ran`: 1
-- where the gateway ran at all.
CREATE TABLE hours (
    hour INTEGER NOT NULL,
    what TEXT NOT NULL,
    frames INTEGER NOT NULL,
    PRIMARY KEY (hour, what)
) WITHOUT ROWID;

-- Sums of a day of UTC, counted since 1970, by station. An empty source is all that had no room.
CREATE TABLE days_of_stations (
    day INTEGER NOT NULL,
    source TEXT NOT NULL,
    frames INTEGER NOT NULL,
    direct INTEGER NOT NULL,            -- of them, heard without a repeater and a relay
    last_ms INTEGER NOT NULL,
    PRIMARY KEY (day, source)           -- the rows of a day lie together: a memory card is written by whole pages
) WITHOUT ROWID;
CREATE INDEX days_of_stations_by_source ON days_of_stations (source, day);

-- What counts for the reach: of each day who was how far away at most, and how many frames were in a class of distance.
CREATE TABLE days_of_reach (
    day INTEGER NOT NULL,
    sector INTEGER NOT NULL,
    source TEXT NOT NULL,
    frames INTEGER NOT NULL,
    farthest_m INTEGER NOT NULL,
    farthest_ms INTEGER NOT NULL,       -- the last time
    PRIMARY KEY (day, sector, source)
) WITHOUT ROWID;

CREATE TABLE days_of_distance (
    day INTEGER NOT NULL,
    sector INTEGER NOT NULL,
    class INTEGER NOT NULL,
    frames INTEGER NOT NULL,
    PRIMARY KEY (day, sector, class)
) WITHOUT ROWID;

-- What was kept before there were sums. Distances are not known of it.
INSERT INTO hours
    SELECT time_ms / 3600000, coalesce(reason, 'forward'), count(*) FROM heard
    WHERE time_ms >= 1767225600000 GROUP BY 1, 2;
INSERT INTO hours
    SELECT sent_ms / 3600000, 'sent', count(*) FROM heard WHERE sent_ms >= 1767225600000 GROUP BY 1;
INSERT OR IGNORE INTO hours SELECT DISTINCT hour, 'ran', 1 FROM hours;
INSERT INTO days_of_stations
    SELECT time_ms / 86400000, source, count(*), 0, max(time_ms) FROM heard
    WHERE source IS NOT NULL AND time_ms >= 1767225600000 GROUP BY 1, 2;
