/// Progression, number of the chord from 1, melody, the stand-in, the note, and what it is to the stand-in's chord.
type Case = (&'static str, usize, &'static str, &'static str, &'static str, &'static str);

const II_V_I: &str = "Dm7 | G7 | Cmaj7";
const IV: &str = "Cmaj7 | Fmaj7 | Cmaj7";

/// What the melody rules out, with the reason.
#[rustfmt::skip]
const REJECTED: &[Case] = &[
    // over the dominant
    (II_V_I, 2, "rest=4 | A4=4", "G7b9", "A", "the 9 against its b9: clash"),
    (II_V_I, 2, "rest=4 | A4=4", "G7alt", "A", "the 9 against its b9: clash"),
    (II_V_I, 2, "rest=4 | A4=4", "Bdim7", "A", "the b7, a half step above its bb7: avoid note"),
    (II_V_I, 2, "rest=4 | A4=4", "E|G7", "A", "the 9 against its b9: clash"),
    (II_V_I, 2, "rest=4 | A4=4", "Fdim(maj7)", "A", "the 3, a half step above its b3: avoid note"),
    (II_V_I, 2, "rest=4 | E5=4", "G7#5", "E", "the 13 against its #5: clash"),
    (II_V_I, 2, "rest=4 | E5=4", "G7b9b13", "E", "the 13 against its b13: clash"),
    (II_V_I, 2, "rest=4 | E5=4", "Abm6", "E", "the b13, a half step above its 5: avoid note"),
    (II_V_I, 2, "rest=4 | Bb4=4", "G9", "Bb", "the #9 against its 9: clash"),
    (II_V_I, 2, "rest=4 | Bb4=4", "A|G7", "Bb", "the #9 against its 9: clash"),
    (II_V_I, 2, "rest=4 | Bb4=4", "Bm7b5", "Bb", "the 7 against its b7: clash"),
    (II_V_I, 2, "rest=4 | Ab4=4", "G9", "Ab", "the b9 against its 9: clash"),
    (II_V_I, 2, "rest=4 | Eb5=4", "G13", "Eb", "the b13 against its 13: clash"),
    (II_V_I, 2, "rest=4 | Eb5=4", "E|G7", "Eb", "the b13 against its 13: clash"),
    (II_V_I, 2, "rest=4 | Eb5=4", "Bm7b5", "Eb", "the 3 against its b3: clash"),
    (II_V_I, 2, "rest=4 | C#5=4", "G7sus4", "C#", "the #11, a half step above its 4: avoid note"),
    (II_V_I, 2, "rest=4 | A4=4", "Bb7", "A", "the 7 against its b7: clash"),
    (II_V_I, 2, "rest=4 | B4=4", "Fm7", "B", "the #11 against its 5: clash"),
    (II_V_I, 2, "rest=4 | E5=4", "Fm7", "E", "the 7 against its b7: clash"),
    // over the tonic
    (II_V_I, 3, "rest=4 | rest=4 | C5=4", "Em7", "C", "the b13, a half step above its 5: avoid note"),
    (II_V_I, 3, "rest=4 | rest=4 | E5=4", "Cm6", "E", "the 3 against its b3: clash"),
    (II_V_I, 3, "rest=4 | rest=4 | E5=4", "Abmaj7", "E", "the b13, a half step above its 5: avoid note"),
    (II_V_I, 3, "rest=4 | rest=4 | B4=4", "Abmaj7", "B", "the #9 against its 3: clash"),
    (II_V_I, 3, "rest=4 | rest=4 | D5=4", "Dbmaj7", "D", "the b9, a half step above its 1: avoid note"),
    (II_V_I, 3, "rest=4 | rest=4 | E5=4", "Dbmaj7", "E", "the #9 against its 3: clash"),
    (II_V_I, 3, "rest=4 | rest=4 | G4=4", "F#m7b5", "G", "the b9, a half step above its 1: avoid note"),
    (II_V_I, 3, "rest=4 | rest=4 | E5=4", "Ebmaj7", "E", "the b9, a half step above its 1: avoid note"),
    // over the second and fourth degree
    (II_V_I, 1, "A4=4", "Dm7b5", "A", "the 5, a half step above its b5: avoid note"),
    (II_V_I, 1, "E5=4", "Fm7", "E", "the 7 against its b7: clash"),
    (II_V_I, 1, "E5=4", "Abmaj7", "E", "the b13, a half step above its 5: avoid note"),
    (II_V_I, 1, "A4=4", "Abmaj7", "A", "the b9, a half step above its 1: avoid note"),
    (II_V_I, 1, "G4=4", "Ab7", "G", "the 7 against its b7: clash"),
    (II_V_I, 1, "A4=4", "Fm6", "A", "the 3 against its b3: clash"),
    (IV, 2, "rest=4 | A4=4", "Fm(maj7)", "A", "the 3 against its b3: clash"),
    (IV, 2, "rest=4 | A4=4", "Bb7", "A", "the 7 against its b7: clash"),
    (IV, 2, "rest=4 | A4=4", "Dm7b5", "A", "the 5, a half step above its b5: avoid note"),
    (IV, 2, "rest=4 | E5=4", "Fm7", "E", "the 7 against its b7: clash"),
];

/// What sounds like a clash on paper and is a tension, or too short to matter.
#[rustfmt::skip]
const LET_THROUGH: &[Case] = &[
    (II_V_I, 2, "rest=4 | D5=4", "Db7", "D", "its b9, an available tension"),
    (II_V_I, 2, "rest=4 | G4=4", "Db7", "G", "its #11, an available tension"),
    (II_V_I, 2, "rest=4 | E5=4", "Db7", "E", "its #9, an available tension"),
    (II_V_I, 2, "rest=4 | A4=4", "Db7", "A", "its b13, an available tension"),
    (II_V_I, 2, "rest=4 | Bb4=4", "Db7", "Bb", "its 13, an available tension"),
    (II_V_I, 2, "rest=4 | E5=4", "Bdim7", "E", "its 11, an available tension"),
    (II_V_I, 2, "rest=4 | G4=4", "Bdim7", "G", "its b13, an available tension"),
    (II_V_I, 2, "rest=4 | C#5=4", "Bdim7", "C#", "its 9, an available tension"),
    (II_V_I, 2, "rest=4 | Bb4=4", "Bdim7", "Bb", "its 7, an available tension"),
    (II_V_I, 2, "rest=4 | G4=4", "Fdim(maj7)", "G", "its 9, an available tension"),
    (II_V_I, 2, "rest=4 | B4=4", "G7sus4", "B", "its 3, an available tension"),
    (II_V_I, 2, "rest=4 | Ab4=4", "G7sus4", "Ab", "its b9, an available tension"),
    (II_V_I, 2, "rest=4 | B4=4", "Bb7", "B", "its b9, an available tension"),
    (II_V_I, 2, "rest=4 | E5=4", "Bbm|G7", "E", "its 13, an available tension"),
    (II_V_I, 2, "rest=4 | E5=4", "Bb7", "E", "its #11, an available tension"),
    (II_V_I, 3, "rest=4 | rest=4 | B4=4", "Am7", "B", "its 9, an available tension"),
    (II_V_I, 3, "rest=4 | rest=4 | D5=4", "Abmaj7", "D", "its #11, an available tension"),
    (II_V_I, 3, "rest=4 | rest=4 | G4=4", "Dbmaj7", "G", "its #11, an available tension"),
    (II_V_I, 3, "rest=4 | rest=4 | D5=4", "F#m7b5", "D", "its b13, an available tension"),
    (II_V_I, 1, "F5=4", "D7", "F", "its #9, an available tension"),
    (II_V_I, 1, "D5=4", "Ab7", "D", "its #11, an available tension"),
    (II_V_I, 1, "A4=4", "Ab7", "A", "its b9, an available tension"),
    (II_V_I, 1, "B4=4", "Ab7", "B", "its #9, an available tension"),
    (IV, 2, "rest=4 | E5=4", "Bb7", "E", "its #11, an available tension"),
    (IV, 2, "rest=4 | G4=4", "Bb7", "G", "its 13, an available tension"),
    // in passing, off the beat
    (II_V_I, 2, "rest=4 | Bb4=1.5 A4=1/2 G4=2", "G7b9", "A", "the 9 against its b9: clash"),
    (II_V_I, 2, "rest=4 | F5=1.5 E5=1/2 D5=2", "G7#5", "E", "the 13 against its #5: clash"),
];
