//! What speaks for and against a stand-in: every cost in one place, with its reason.
//!
//! Input: none. Output: [`COSTS`]. Units: natural-log units, as everywhere in the harmony: 1 makes a stand-in 2.7 times less likely to be the one wanted.
//! Method: our own additive model. All values were set by hand, in round steps, from the order that the reasons give; none is fitted.
//! Limits: costs are added as if independent.

use super::device::Usage;

/// The costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StandInCosts {
    /// What a device costs by how usual it is said to be.
    pub common: f32,
    pub occasional: f32,
    pub rare: f32,
    /// A colour that is seldom written: per step of rarity.
    pub rarity: f32,
    /// Each half step that the voices move to and from the neighbours: a leap of a fourth in one voice is worth one step of usage.
    pub half_step: f32,
    /// How much the course of roots counts (fifths, half steps down, twos before fives), beside the costs of a progression.
    pub root_motion: f32,
    /// How much it counts that a chord is at home in the key.
    pub fit: f32,
    /// Each note less than the original has: a triad among sevenths sounds bare.
    pub thinner: f32,
    /// Each note outside the key: what is in it comes first.
    pub foreign_note: f32,
    /// A chord that leads on where the original had left home or passed: another function.
    pub function_changed: f32,
    /// Each chord more than the original: more to play.
    pub more_chords: f32,
    /// Taken off a backdoor dominant, which is one only where it does come home; root motion alone does not say so.
    pub backdoor_resolves: f32,
    /// A melody that weighs 1 on it.
    pub melody: f32,
    /// Taken off where a melody note is a chord tone all the time: the chord explains the note.
    pub explains_melody: f32,
    /// Each step by which it stays nearer than the player wants to go out.
    pub too_near: f32,
    /// An answer of a kind that was already given: the list should show different ideas.
    pub same_idea: f32,
    /// A diminished seventh that is not named from the leading tone, as it usually is.
    pub not_from_leading_tone: f32,
    /// In a whole tune: a chord left as it is while there is budget.
    pub left_alone: f32,
    /// In a whole tune, taken off for each step out: the budget is there to be spent.
    pub budget_spent: f32,
    /// In a whole tune: the first or last tonic replaced by a chord on another root.
    pub lost_home: f32,
    /// In a whole tune: a device used again at once.
    pub repeated: f32,
}

/// The costs in use.
pub(crate) const COSTS: StandInCosts = StandInCosts {
    common: 0.3,
    occasional: 0.8,
    rare: 1.3,
    rarity: 0.8,
    half_step: 0.06,
    root_motion: 0.4,
    fit: 0.3,
    thinner: 0.3,
    foreign_note: 0.08,
    function_changed: 0.6,
    more_chords: 0.35,
    backdoor_resolves: 0.4,
    melody: 1.0,
    explains_melody: 0.4,
    too_near: 0.5,
    same_idea: 0.4,
    not_from_leading_tone: 0.1,
    left_alone: 0.5,
    budget_spent: 0.3,
    lost_home: 1.5,
    repeated: 0.4,
};

impl StandInCosts {
    /// That of a device.
    pub(crate) fn usage(&self, usage: Usage) -> f32 {
        match usage {
            Usage::Everyday => 0.0,
            Usage::Common => self.common,
            Usage::Occasional => self.occasional,
            Usage::Rare => self.rare,
        }
    }
}
