//! Naming: what these keys can be called.
//!
//! Input: [`Sounding`](super::Sounding) and [`Context`](super::Context). Output: ranked candidates, and [`Name`](super::Name)s written out.
//! Units: costs in natural-log units ([`penalties`]); scores 0 to 1.
//! Method: `search` lays every shape on every root, `weigh` says what it costs, `names` writes the best.
//! Limits: at most two notes beside a shape. What they stand for is told by [`super::readings`].

pub(crate) mod candidate;
pub(crate) mod names;
pub mod penalties;
pub(crate) mod search;
pub(crate) mod weigh;
