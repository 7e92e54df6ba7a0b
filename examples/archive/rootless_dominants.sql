-- Which dominants are played without their root, under which name, and how often.
SELECT reading.ascii AS stands_for, name, count(*) AS times, count(DISTINCT file) AS recordings
FROM 'chords.parquet'
WHERE reading.kind = 'rootless dominant' AND reading.score >= 0.3
GROUP BY ALL ORDER BY times DESC, stands_for, name;
