//! What speaks for and against a name: every penalty in one place, with its reason.
//!
//! Input: a shape of the vocabulary against what sounds. Output: a cost. Units: natural-log units: a cost of 1 makes a name 2.7 times less likely.
//! Method: our own additive model; the order of the penalties follows the weight that players give to bass, guide tones and
//! fifths (Levine, The Jazz Theory Book, 1995, ch. 2 and 17; Parncutt, Harmony, 1989, on roots). Values are round by design: they were set by hand
//! from these reasons and checked on `tests/data/voicing_names*.json`; only the temperature is fitted.
//! Limits: costs are added as if independent.

/// The penalties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Penalties {
    /// A fifth that players leave out anyway: it tells nothing that the guide tones do not.
    pub silent_fifth: f32,
    /// A lower tension left out below the one that names the chord (the 9 of a 13).
    pub silent_tension: f32,
    /// Two or more notes left out without a word: half of the chord is then guessed.
    pub silent_pair: f32,
    /// A triad without its fifth: only an interval is left.
    pub fifth: f32,
    /// No third: major or minor is open.
    pub third: f32,
    /// A chord named by tensions whose seventh is not played.
    pub seventh: f32,
    /// A dominant without its root, third and seventh played: the usual left-hand voicing beside a bass player.
    pub dominant_root: f32,
    /// Another seventh chord without its root; it nearly always is a complete chord of its own.
    pub other_root: f32,
    /// The same with only three notes: thin evidence for a chord of five or more.
    pub thin_rootless: f32,
    /// A note that the chord type does not hold, before its own oddness.
    pub added: f32,
    /// How odd an added note is, by half steps above the root.
    pub oddness: [f32; 12],
    /// The third, fifth or seventh in the bass: an inversion.
    pub inversion: f32,
    /// The seventh in the bass: third inversion, rarer.
    pub third_inversion: f32,
    /// The major seventh in the bass: it grinds against the root.
    pub major_seventh_in_bass: f32,
    /// The sixth in the bass: it then sounds as the root of a seventh chord.
    pub sixth_in_bass: f32,
    /// A tension or a suspended note in the bass: it hardly sounds as one any more.
    pub tension_in_bass: f32,
    /// A bass foreign to a complete chord above it: a slash chord.
    pub foreign_bass: f32,
    /// The same over a chord of five or more notes, which needs no foreign bass to be rich.
    pub foreign_bass_under_many: f32,
    /// A rootless voicing that does not rest on its third or seventh.
    pub rootless_off_guide_tone: f32,
    /// A major seventh with a flat fifth and nothing else: the same four notes are the staple left hand of two dominants.
    pub also_a_left_hand: f32,
    /// Taken off the staple left hand of a plain dominant: third, thirteenth, seventh and ninth, in any order.
    pub left_hand: f32,
    /// The same of an altered one: third, flat thirteenth, seventh and sharp ninth, the same four notes on the root a tritone away.
    pub left_hand_altered: f32,
    /// A chord without its root where it is known that the bass plays another note.
    pub rootless_over_stated_bass: f32,
    /// Taken off where third and seventh are the two lowest notes: the way players voice a chord.
    pub guide_tones_lowest: f32,
    /// Taken off where all notes belong to the key.
    pub in_key: f32,
    /// Taken off for the dominant on the fifth degree of the key.
    pub dominant_of_key: f32,
    /// Taken off where the chord goes down a fifth into the next, as dominants do.
    pub falls_a_fifth: f32,
    /// Taken off where a dominant follows the minor chord a fifth above it: its related second degree.
    pub follows_its_two: f32,
    /// Taken off a minor seventh whose dominant comes next.
    pub two_before_its_five: f32,
    /// Taken off where it goes down a half step into the next, as substitute dominants do.
    pub falls_a_half_step: f32,
    /// Taken off for a diminished chord a half step below the next root.
    pub leads_up: f32,
    /// Two complete triads, one above the other, where no chord on one root is a good name: hardly better than the bare notes.
    pub fraction: f32,
    /// What "no good name" costs: a name that costs more is worse than the bare notes.
    pub no_name: f32,
    /// The same for a bare interval other than a fifth, and for a cluster: to the ear these are notes first.
    pub no_name_of_few: f32,
    /// Divides costs before they become probabilities: lower is surer. The only fitted value: the likeliest one (ten-fold cross-validation, nine
    /// folds agree) for the accepted names of `voicing_names.json` and `voicing_names_watched.json`; calibration is checked on others, in
    /// `tests/harmony_corpus.rs` and on `voicing_names_held_out.json`.
    pub temperature: f32,
}

/// The penalties in use.
pub const PENALTIES: Penalties = Penalties {
    silent_fifth: 0.15,
    silent_tension: 0.2,
    silent_pair: 0.5,
    fifth: 1.1,
    third: 1.6,
    seventh: 1.8,
    dominant_root: 1.45,
    other_root: 2.3,
    thin_rootless: 1.0,
    added: 1.5,
    oddness: [0.0, 0.9, 0.3, 0.8, 1.5, 0.4, 0.5, 1.0, 0.9, 0.4, 1.0, 1.0],
    inversion: 0.8,
    third_inversion: 0.9,
    major_seventh_in_bass: 1.3,
    sixth_in_bass: 1.5,
    tension_in_bass: 1.6,
    foreign_bass: 1.3,
    foreign_bass_under_many: 1.9,
    rootless_off_guide_tone: 0.6,
    also_a_left_hand: 0.9,
    left_hand: 0.55,
    left_hand_altered: 0.45,
    rootless_over_stated_bass: 2.0,
    guide_tones_lowest: 0.7,
    in_key: 0.2,
    dominant_of_key: 0.3,
    falls_a_fifth: 0.8,
    follows_its_two: 0.3,
    two_before_its_five: 0.6,
    falls_a_half_step: 0.3,
    leads_up: 0.3,
    fraction: 2.3,
    no_name: 2.4,
    no_name_of_few: 1.0,
    temperature: 0.23,
};
