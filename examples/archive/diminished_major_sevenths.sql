-- Every diminished major seventh that goes to its tonic, with file and time: the next chord has the same root and a major or minor triad.
SELECT file, begins, name, next_name
FROM (SELECT *, lead(name) OVER succession AS next_name, lead(label) OVER succession AS next_label
      FROM 'chords.parquet' WINDOW succession AS (PARTITION BY file ORDER BY number))
WHERE label = root || ':dim(7)' AND (next_label LIKE root || ':maj%' OR next_label LIKE root || ':min%')
ORDER BY file, begins;
