-- How far each piano is off 440 Hz, in cents, farthest first; and what could not be read, and why.
SELECT file, round(tuning_hz, 1) AS a4, round(1200 * log2(tuning_hz / 440)) AS cents, error
FROM 'recordings.parquet'
ORDER BY abs(cents) DESC NULLS FIRST, file;
