const II_V_I: &str = "Dm7 | G7 | Cmaj7";
const MINOR: &str = "Dm7b5 | G7 | Cm6";

#[rustfmt::skip]
const TEXTBOOK: &[Case] = &[
    // Tritone substitution: Levine, The Jazz Piano Book, 1989, ch. 6; The Jazz Theory Book, 1995, ch. 13.
    (II_V_I, 2, "", None, "Db7", "b9 #11"),
    (MINOR, 2, "", None, "Db7", "b9 #11"),
    ("Am7 | D7 | G7", 2, "", None, "Ab7", "b9 #11"),
    ("Em7b5 | A7 | Dm7", 2, "", None, "Eb7", "b9 #11"),
    ("C7 | C7 | F7", 2, "", None, "Gb7", "b9 #11"),
    (II_V_I, 2, "rest=4 | Eb5=4", None, "Db9", "b9 #11 b13"),
    (II_V_I, 2, "rest=4 | G4=4", Some(2), "Db7#11", "b9 #11"),
    (II_V_I, 2, "rest=4 | Bb4=4", None, "Db13", "b9 #9 #11 b13"),
    (II_V_I, 2, "", Some(2), "G7 Db7", "b9 #11"),
    (II_V_I, 1, "", Some(3), "Ab7", "b9"),
    // Diminished chords for the dominant with a flat ninth: Levine, 1995, ch. 3 and 14.
    (II_V_I, 2, "", None, "Bdim7", "b9"),
    (MINOR, 2, "", None, "Bdim7", "b9"),
    ("Cmaj7 | A7 | Dm7", 2, "", None, "C#dim7", "b9"),
    ("Cmaj7 | E7 | Am7", 2, "", None, "G#dim7", "b9"),
    ("Cmaj7 | C7 | Fmaj7", 2, "", None, "Edim7", "b9"),
    // Both dominants of the diminished major seventh: Levine, 1995, ch. 3 (diminished scale harmony).
    (II_V_I, 2, "rest=4 | E5=4", None, "Fdim(maj7)", "b9 13"),
    (II_V_I, 2, "rest=4 | Bb4=4", None, "Bdim(maj7)", "#9"),
    (MINOR, 2, "rest=4 | Bb4=4", None, "Bdim(maj7)", "#9"),
    ("Cmaj7 | A7 | Dm7", 2, "rest=4 | F#5=4", None, "Gdim(maj7)", "b9 13"),
    ("Bm7b5 | E7 | Am7", 2, "rest=4 | G4=4", None, "G#dim(maj7)", "#9"),
    // The diminished seventh enriched: Levine, 1995, ch. 3.
    ("Cmaj7 | C#dim7 | Dm7", 2, "", None, "C#dim(maj7)", "#9"),
    ("Cmaj7 | Cdim7 | Cmaj7", 2, "", None, "Cdim(maj7)", ""),
    ("Em7 | Ebdim7 | Dm7", 2, "", None, "Ebdim(maj7)", ""),
    ("Cmaj7 | C#dim7 | Dm7", 2, "", None, "A7b9", "b9"),
    ("Em7 | Ebdim7 | Dm7", 2, "", None, "Eb7", ""),
    ("Fmaj7 | F#dim7 | Cmaj7", 2, "", None, "D7b9", "b13"),
    // Backdoor: Coker, Elements of the Jazz Language, 1991.
    (II_V_I, 2, "", Some(3), "Bb7", "b9 #9"),
    (II_V_I, 2, "", Some(3), "Fm7 Bb7", "b9 #9"),
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Bb7", "11"),
    // Suspended dominants: Levine, 1989, ch. 4.
    (II_V_I, 2, "", None, "G7sus4", "11"),
    (II_V_I, 2, "", None, "G9sus4", "9 11"),
    ("Am7 | D7 | Gmaj7", 1, "", None, "D7sus4", "11"),
    ("Cmaj7 | G7 | Cmaj7", 2, "rest=4 | C5=2 B4=2", None, "G7sus4 G7", ""),
    // Upper structures: Levine, 1989, ch. 14.
    (II_V_I, 2, "rest=4 | C#5=2 A4=2", None, "A|G7", "9 #11 13"),
    (II_V_I, 2, "rest=4 | Eb5=2 Bb4=2", None, "Eb|G7", "#9 b13"),
    (II_V_I, 2, "rest=4 | G#4=2 E5=2", None, "E|G7", "b9 13"),
    (II_V_I, 2, "rest=4 | C#5=2 Ab4=2", None, "Db|G7", "b9 #11"),
    (II_V_I, 2, "rest=4 | Eb5=2 Ab4=2", None, "Abm|G7", "b9 b13"),
    (II_V_I, 2, "rest=4 | Bb4=2 C#5=2", None, "Bbm|G7", "#9 #11"),
    (II_V_I, 2, "rest=4 | E5=2 C#5=2", None, "C#m|G7", "b9 #11 13"),
    (MINOR, 2, "rest=4 | Eb5=2 Bb4=2", None, "Eb|G7", "#9 b13"),
    // Rootless chords that hold the guide tones: Levine, 1989, ch. 7 and 8.
    (II_V_I, 2, "rest=4 | A4=4", None, "Bm7b5", "9"),
    (MINOR, 2, "rest=4 | Eb5=2 Ab4=2", None, "Fm7b5", "b9 b13"),
    // The same dominant in other colours: Levine, 1989, ch. 8.
    (II_V_I, 2, "", None, "G9", "9"),
    (II_V_I, 2, "rest=4 | E5=4", None, "G13", "9 13"),
    (II_V_I, 2, "rest=4 | Ab4=4", None, "G7b9", "b9"),
    (II_V_I, 2, "rest=4 | Bb4=4", None, "G7#9", "#9"),
    (II_V_I, 2, "rest=4 | C#5=4", None, "G7#11", "#11"),
    (MINOR, 2, "", None, "G7b9", "b9"),
    (MINOR, 2, "rest=4 | Eb5=2 Bb4=2", None, "G7#5#9", "#9 b13"),
    // Related second degrees ahead: Levine, 1995, ch. 13.
    ("Cmaj7 | G7 | Cmaj7", 2, "", None, "Dm7 G7", ""),
    ("Cmaj7 | A7 | Dm7", 2, "", None, "Em7b5 A7", ""),
    ("Cmaj7 | C7 | Fmaj7", 2, "", None, "Gm7 C7", ""),
    ("C7 | C7 | F7", 2, "", None, "Gm7 C7", ""),
    (II_V_I, 2, "", Some(3), "Abm7 Db7", "b9 #11"),
    // Chains: Levine, 1995, ch. 13.
    ("Cmaj7 | Cmaj7 | Fmaj7", 2, "", None, "Gm7 C7", ""),
    ("Cmaj7 | Cmaj7 | Dm7", 2, "", None, "Em7b5 A7", "b9"),
    ("Cmaj7 | Cmaj7 | Am7", 2, "", None, "Bm7b5 E7", "9 b13"),
    // Secondary dominants and their substitutes: Nettles and Graf, 1997, ch. 2 to 4.
    ("Cmaj7 | Am7 | Dm7", 2, "", None, "A7", ""),
    (II_V_I, 1, "", None, "D7", ""),
    ("Em7 | Am7 | Dm7", 1, "", None, "E7", ""),
    ("Cmaj7 | Cmaj7 | Fmaj7", 2, "", None, "C7", ""),
    ("Cmaj7 | Cmaj7 | Am7", 2, "", None, "E7", "9 b13"),
    ("Cmaj7 | Cmaj7 | Dm7", 2, "", None, "A7", "b9"),
    ("Cmaj7 | Cmaj7 | Dm7", 2, "", None, "Cmaj7 A7", "b9"),
    ("Cmaj7 | Cmaj7 | Dm7", 2, "", Some(3), "Cmaj7 Eb7", "b9"),
    ("Cmaj7 | Am7 | Dm7", 2, "", Some(3), "Am7 Eb7", "b9"),
    (II_V_I, 1, "", Some(4), "Eb7 Dm7", ""),
    // Passing diminished: Levine, 1995, ch. 14.
    ("Cmaj7 | Cmaj7 | Dm7", 2, "", None, "C#dim7", "b9"),
    ("Cmaj7 | Dm7 | Em7", 1, "", None, "Cmaj7 C#dim7", "b9"),
    ("Cmaj7 | Dm7 | Em7", 2, "", None, "Dm7 D#dim7", "b9"),
    ("C6 | F6 | C6", 2, "", None, "F#dim7", "b9"),
    // The second degree: Nettles and Graf, 1997, ch. 1 and 5; Levine, 1995, ch. 13.
    (II_V_I, 1, "E5=4", None, "Fmaj7", "9"),
    (II_V_I, 1, "", Some(1), "Dm7b5", ""),
    (II_V_I, 1, "", Some(1), "Fm7", "b9"),
    (II_V_I, 1, "", None, "Dm9", "9"),
    // The tonic: Nettles and Graf, 1997, ch. 1 and 5; Levine, 1995, ch. 13 and 14.
    (II_V_I, 3, "", None, "Em7", "9"),
    (II_V_I, 3, "", None, "Am7", ""),
    (II_V_I, 3, "", None, "C6/9", "9"),
    (II_V_I, 3, "", None, "Cdim(maj7) Cmaj7", ""),
    (II_V_I, 3, "", Some(2), "Abmaj7", "b13"),
    (II_V_I, 3, "", Some(3), "Dbmaj7", "b9 11 b13"),
    (II_V_I, 3, "", Some(2), "F#m7b5", "#11"),
    ("Dm7b5 | G7 | Cm7", 3, "", None, "Ebmaj7", "9"),
    ("Dm7b5 | G7 | Cm7", 3, "", None, "Abmaj7", "b13"),
    ("Dm7b5 | G7 | Cm7", 3, "", None, "Cm6", ""),
    ("Dm7b5 | G7 | Cm7", 3, "", None, "Am7b5", ""),
    // The fourth degree: Nettles and Graf, 1997, ch. 1 and 5.
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Dm7", ""),
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Fm(maj7)", ""),
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Fmaj7 Fm(maj7)", ""),
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Fmaj7#11", "#11"),
    ("Cmaj7 | Fmaj7 | Cmaj7", 2, "", None, "Dm7b5", ""),
    // Subdominant minor in place of the dominant: Nettles and Graf, 1997, ch. 5.
    (II_V_I, 2, "", Some(2), "Fm7", "b9 11 b13"),
    (II_V_I, 2, "rest=4 | C5=4", Some(3), "Dbmaj7", "b9 11 #11"),
    (II_V_I, 2, "rest=4 | C5=4", Some(3), "Abmaj7", "b9 11 b13"),
    // Side-slips: Levine, 1995, ch. 8.
    (II_V_I, 2, "rest=4 | C5=4", Some(4), "Ab7 G7", ""),
    (II_V_I, 1, "Bb4=2 A4=2", Some(4), "Ebm7 Dm7", ""),
    // Bass by step: Levine, 1995, ch. 14.
    (II_V_I, 1, "", None, "Dm7/F", ""),
    ("Cmaj7 | A7 | Dm7", 2, "", None, "A7/C#", ""),
];
