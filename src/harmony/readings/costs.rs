//! What speaks for and against a reading: every cost in one place, with its reason.
//!
//! Input: none. Output: [`COSTS`]. Units: natural-log units: a cost of 1 makes a reading 2.7 times less likely beside the others of the same notes.
//! Method: our own additive model. All values were set by hand, in round steps, from the order that the reasons give (sources: see [`super`]);
//! none is fitted. They are checked by the claims of `tests/harmony_readings.rs` and `tests/left_hands.rs`, and by the tunes of the labelled corpus,
//! whose stand-ins must be found from them (`tests/harmony_corpus.rs`). Limits: costs are added as if independent.

/// The costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ReadingCosts {
    /// Meaning no more than the name says: all readings are weighed against it.
    pub nothing_else: f32,
    /// How much a name's cost above the best name counts for what it does.
    pub other_name: f32,
    /// Each note of a chord that does not sound: the more sounds, the surer.
    pub note_missing: f32,
    /// How much it counts how a chord fits the key.
    pub key_weight: f32,
    /// A fit to the key that says nothing either way: that of a secondary dominant.
    pub neutral_fit: f32,
    /// Taken off a dominant that falls a fifth into the next chord: the strongest sign there is.
    pub falls_a_fifth: f32,
    /// Taken off a dominant that falls a half step into the next chord, as substitutes do.
    pub falls_a_half_step: f32,
    /// Taken off a dominant that rises a whole step, as the backdoor and the deceptive one do.
    pub rises_a_whole_step: f32,
    /// Taken off a dominant that goes up a fifth, as the fourth degree of a blues does.
    pub four_to_one: f32,
    /// Taken off a dominant after its second degree.
    pub follows_its_two: f32,
    /// Taken off a substitute after the second degree a half step above it.
    pub follows_a_two_above: f32,
    /// Taken off a dominant after the suspended one on its root.
    pub suspension_falls: f32,
    /// Taken off a second degree whose dominant does come next.
    pub two_before_its_five: f32,
    /// Taken off one that goes down a half step to the substitute.
    pub two_before_a_substitute: f32,
    /// Taken off a chord at rest after its dominant.
    pub arrives_by_a_fifth: f32,
    /// Taken off one after its substitute, its backdoor dominant, or a dominant that deceives.
    pub arrives_otherwise: f32,
    /// Taken off one that follows its subdominant.
    pub arrives_by_a_fourth: f32,
    /// A dominant that sounds with its root: what its name says already.
    pub dominant: f32,
    /// A suspended dominant with its root in the bass.
    pub suspended: f32,
    /// The same over another bass: half of such chords are named from elsewhere.
    pub suspended_inverted: f32,
    /// A minor seventh as the second degree: as likely as not it is a tonic or a third degree.
    pub related_two: f32,
    /// What any other chord does by itself, in a key or between neighbours that say so.
    pub itself: f32,
    /// A chord with its root in the bass that is not the best name.
    pub root_in_bass: f32,
    /// A rootless dominant whose third and seventh sound: the usual left-hand voicing.
    pub rootless_guide_tones: f32,
    /// An altered one, beside the plain one of the same notes: less common.
    pub rootless_altered: f32,
    /// One without its third, where a diminished major seventh is heard as one of the four dominants of its scale.
    pub rootless_without_third: f32,
    /// A rootless dominant beside the one a tritone away that sounds with its root: the bass says which of the two it is.
    pub partner_sounds: f32,
    /// Any rootless chord where a bass is stated that is not its root.
    pub another_bass_is_stated: f32,
    /// The dominant a tritone away from a complete one: a substitution that the player could make, not what is played.
    pub tritone_pair: f32,
    /// A triad over guide tones: another view of a dominant, after the dominant itself.
    pub upper_structure: f32,
    /// The same without the root.
    pub upper_structure_rootless: f32,
    /// A diminished major seventh as an ornament of the diminished seventh.
    pub enriched_diminished: f32,
    /// A diminished major seventh as the tonic delayed: its raised seventh is a note of the tonic; after the dominants that it stands for.
    pub delayed_tonic: f32,
    /// A diminished seventh as the tonic delayed.
    pub delayed_tonic_plain: f32,
    /// Taken off where the chord on that root does come next.
    pub delay_falls: f32,
    /// A common-tone diminished chord whose note the next chord keeps.
    pub common_tone: f32,
    /// The same without a next chord that shows it.
    pub common_tone_unconfirmed: f32,
    /// A diminished chord whose place both neighbours confirm: below any dominant it could stand for.
    pub between_neighbours: f32,
    /// A passing diminished chord that only the next chord confirms.
    pub passing: f32,
    /// One that rises, without a next chord that shows it.
    pub passing_up_unconfirmed: f32,
    /// One that falls: rarer.
    pub passing_down_unconfirmed: f32,
    /// An auxiliary diminished chord without neighbours that show it.
    pub auxiliary_unconfirmed: f32,
    /// Four dominants at once say less than one.
    pub half_whole_family: f32,
    /// How much likelier each sounding guide tone makes one of the four.
    pub guide_tone_of_family: f32,
    /// A triad over a foreign bass: what its name says, seen as two parts; it tells less than a chord whose root is left out.
    pub triad_over_bass: f32,
    /// A seventh or sixth chord, no dominant, without its root.
    pub rootless_other: f32,
    /// How rare a sixth chord is among them, at most.
    pub rootless_sixth: f32,
    /// Taken off where the best name is an inversion: left hands are inverted by themselves.
    pub else_inverted: f32,
    /// The same told by two or three keys.
    pub rootless_of_few: f32,
    /// One that rests on neither its third nor its seventh (in a sixth chord its sixth): left hands do.
    pub off_guide_tone: f32,
    /// One with a thirteenth or a sharp eleventh of a major seventh: rare.
    pub rootless_far: f32,
    /// A stack of fourths: a way of voicing, told beside what it is.
    pub fourths: f32,
}

/// The costs in use.
pub(crate) const COSTS: ReadingCosts = ReadingCosts {
    nothing_else: 1.0,
    other_name: 1.0,
    note_missing: 0.15,
    key_weight: 0.9,
    neutral_fit: 0.7,
    falls_a_fifth: 1.5,
    falls_a_half_step: 1.0,
    rises_a_whole_step: 0.8,
    four_to_one: 0.6,
    follows_its_two: 0.7,
    follows_a_two_above: 0.5,
    suspension_falls: 0.8,
    two_before_its_five: 1.3,
    two_before_a_substitute: 0.9,
    arrives_by_a_fifth: 1.2,
    arrives_otherwise: 0.8,
    arrives_by_a_fourth: 0.3,
    dominant: 0.5,
    suspended: 0.7,
    suspended_inverted: 1.3,
    related_two: 0.9,
    itself: 0.7,
    root_in_bass: 1.2,
    rootless_guide_tones: 0.3,
    rootless_altered: 0.25,
    rootless_without_third: 1.2,
    partner_sounds: 2.0,
    another_bass_is_stated: 2.5,
    tritone_pair: 1.6,
    upper_structure: 1.2,
    upper_structure_rootless: 0.6,
    enriched_diminished: 1.8,
    delayed_tonic: 1.4,
    delayed_tonic_plain: 1.7,
    delay_falls: 1.6,
    common_tone: 0.6,
    common_tone_unconfirmed: 1.8,
    between_neighbours: -1.4,
    passing: 0.2,
    passing_up_unconfirmed: 1.6,
    passing_down_unconfirmed: 2.0,
    auxiliary_unconfirmed: 2.2,
    half_whole_family: 1.8,
    guide_tone_of_family: 0.5,
    triad_over_bass: 1.5,
    rootless_other: 0.8,
    rootless_sixth: 0.4,
    else_inverted: 0.4,
    rootless_of_few: 0.4,
    off_guide_tone: 0.5,
    rootless_far: 0.5,
    fourths: 1.2,
};
