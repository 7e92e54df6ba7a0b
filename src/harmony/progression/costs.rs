//! What speaks for and against a path through a progression: every cost in one place, with its reason.
//!
//! Input: none. Output: [`COSTS`]. Units: natural-log units; negative where one chord leads on to the next.
//! Method: our own additive model; the order of the steps is that of root motion in Nettles and Graf, 1997, ch. 3. All values were set by
//! hand, in round steps; none is fitted. They are checked by the claims of `tests/harmony_readings.rs`, and by the tunes of the labelled
//! corpus: local keys, names and stand-ins found from the true notes (`tests/harmony_corpus.rs`). Limits: no rhythm.

/// The costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PathCosts {
    /// How much a name's cost above that of the best name counts beside the course of the progression: the ear hears the chord first.
    pub name_weight: f32,
    /// The neighbours may put another name before the best one only where that one costs at most this much less. Penalties go in steps of 0.05.
    pub overruled: f32,
    /// Taking a chord as a stand-in, on top of what its reading costs: a bolder claim than a name.
    pub stand_in: f32,
    /// Readings that cost this much or more are no stand-ins worth a path.
    pub hopeless_stand_in: f32,
    /// Taking a chord as another one than a dominant without its root, on top of what its reading costs.
    pub rootless_voicing: f32,
    /// A chord without root after another: who leaves roots to the bass does so throughout.
    pub keeps_leaving_roots: f32,
    /// A change of key, before its distance: about as much as three chords that fit badly.
    pub key_change: f32,
    /// What each fifth between the signatures adds: near keys are changed to more often.
    pub key_distance: f32,
    /// A dominant that leads nowhere.
    pub unresolved: f32,
    /// A stand-in that does not resolve explains nothing.
    pub unresolved_stand_in: f32,
    /// A dominant or a suspended one that falls a fifth: the strongest step of all.
    pub five_one: f32,
    /// A dominant that falls a half step: a substitute.
    pub substitute_one: f32,
    /// A dominant that moves to the one a tritone away, its substitute.
    pub to_its_substitute: f32,
    /// Taken off a dominant that rises a whole step, as the backdoor and the deceptive one do.
    pub rises_a_whole_step: f32,
    /// A suspended dominant that becomes plain on its root.
    pub suspension_falls: f32,
    /// A second degree before its dominant.
    pub two_five: f32,
    /// The same before a suspended dominant.
    pub two_suspended_five: f32,
    /// A minor chord a half step above a dominant: the two before a substitute.
    pub two_substitute: f32,
    /// A diminished chord that rises a half step.
    pub diminished_rises: f32,
    /// One that falls a half step or keeps its root: less common.
    pub diminished_falls: f32,
    /// A diminished major seventh that falls to the chord on its root, the tonic it has delayed.
    pub delay_falls: f32,
    /// One that does not: a delay of nothing.
    pub delay_unresolved: f32,
    /// Roots of any other chords a fifth apart.
    pub fifths_apart: f32,
    /// Arriving at the tonic of the key from its dominant.
    pub home_by_five: f32,
    /// Arriving there from a substitute, a backdoor or a suspended dominant.
    pub home_otherwise: f32,
    /// The last chord is the tonic: most pieces end at home.
    pub ends_at_home: f32,
    /// The first chord is the tonic: many pieces begin there.
    pub begins_at_home: f32,
    /// A key other than the one that was stated: never.
    pub not_the_stated_key: f32,
}

/// The costs in use.
pub(crate) const COSTS: PathCosts = PathCosts {
    name_weight: 3.0,
    overruled: 0.42,
    stand_in: 0.5,
    hopeless_stand_in: 3.5,
    rootless_voicing: 0.65,
    keeps_leaving_roots: -0.8,
    key_change: 3.0,
    key_distance: 0.25,
    unresolved: 0.2,
    unresolved_stand_in: 1.5,
    five_one: -1.5,
    substitute_one: -1.1,
    to_its_substitute: -0.3,
    rises_a_whole_step: -0.2,
    suspension_falls: -1.0,
    two_five: -0.9,
    two_suspended_five: -0.7,
    two_substitute: -0.6,
    diminished_rises: -0.8,
    diminished_falls: -0.4,
    delay_falls: -1.5,
    delay_unresolved: 0.8,
    fifths_apart: -0.2,
    home_by_five: -0.8,
    home_otherwise: -0.5,
    ends_at_home: -1.0,
    begins_at_home: -0.6,
    not_the_stated_key: 1e6,
};
