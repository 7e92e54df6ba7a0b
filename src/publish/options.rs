//! What a user may ask of the formats.
//!
//! Input: none; this is the type. Output: [`WriteOptions`]. Units: none. Method: one struct for all formats; each row of a table of formats says what it
//! heeds. Limits: none.

/// What is written, and how.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WriteOptions {
    /// What goes on the staff.
    pub what: What,
    /// Bass, left hand, right hand and top voice as tracks of their own.
    pub voices: bool,
    /// The keys held, chord by chord, where the chart would show the harmony of what is played.
    pub held: bool,
    /// How a page looks.
    pub page: PageOptions,
}

/// What goes on the staff.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum What {
    /// Chord symbols alone, as on a lead sheet.
    Harmony,
    /// Each chord as it was voiced, under its symbol.
    #[default]
    Voicings,
    /// Every note.
    Notes,
}

/// What a page shows beside the music.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PageOptions {
    /// Its title; the name of the file without one.
    pub title: Option<String>,
    /// A note of the teacher above the chords.
    pub note: Option<String>,
    /// Names and notes are covered until they are asked for.
    pub covered: bool,
}
