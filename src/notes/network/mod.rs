//! The network that hears notes: its weights, its inputs and the layers it is made of.
//!
//! Input: one [`crate::spectrum::SpectrumFrame`] a hop and a [`Model`]. Output: [`crate::notes::NoteEvidence`] a hop.
//! Units: probabilities 0 to 1. Method: [`estimator`] states the network as formulas; [`model`] has its weights, [`features`] its inputs.
//! Limits: see each module.

pub mod dense;
pub mod estimator;
pub mod features;
pub mod keyed;
pub mod model;
pub mod second_look;
pub mod second_round;

pub use estimator::NetworkEstimator;
pub use model::{Model, ModelError};
