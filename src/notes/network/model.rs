//! The trained weights, read and checked.
//!
//! Input: the bytes of a safetensors file (f32 tensors and string metadata). Output: a [`Model`] whose tensors fit each other, or
//! a [`ModelError`] that says which does not. Units: none.
//! Method: sizes are read from the tensors' shapes, so that a smaller or larger network needs no change here; [`super::estimator`]
//! says what each tensor does. Limits: the number of inputs a key and the context's intervals are fixed in code.

use super::features::INPUTS;
use crate::units::PIANO_KEYS;
use safetensors::{Dtype, SafeTensors};
use std::collections::HashMap;
use std::sync::LazyLock;

/// Keys looked at around each key, in semitones, in the order of the context layer's inputs.
pub const INTERVALS: [i32; 27] = [
    0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 7, -7, 9, -9, 12, -12, 16, -16, 19, -19, 24, -24, 28,
    -28, 36, -36,
];
/// Keys that are counted together for the pedal, and how many such stretches the keyboard has.
pub const STRETCH: usize = 8;
pub const STRETCHES: usize = PIANO_KEYS / STRETCH;
/// Answers with a scale and a shift of their own: sounding and onset, both once more and the pedal of the second look.
const CALIBRATED: usize = 5;
/// The weights that come with the program.
const EMBEDDED: &[u8] = include_bytes!("../model.safetensors");

/// Why a file is no model for this program.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// The container itself cannot be read.
    #[error("the note model is no readable safetensors file: {0}")]
    Unreadable(#[from] safetensors::SafeTensorError),
    /// A tensor is not there.
    #[error("the note model lacks the tensor {0}")]
    Missing(&'static str),
    /// A tensor holds something else than floats of 32 or 16 bits.
    #[error("the note model's tensor {name} holds {found:?}, not floats of 32 or 16 bits")]
    NotFloat {
        /// Which tensor.
        name: &'static str,
        /// What it holds.
        found: Dtype,
    },
    /// A tensor's shape does not fit the others.
    #[error("the note model's tensor {name} has shape {found:?}, not {expected:?}")]
    Shape {
        /// Which tensor.
        name: &'static str,
        /// The shape it has.
        found: Vec<usize>,
        /// The shape that fits.
        expected: Vec<usize>,
    },
    /// A weight is infinite or no number.
    #[error("the note model's tensor {0} holds a value that is not finite")]
    NotFinite(&'static str),
}

/// Weights and biases of one layer, row-major: a row of `inputs` for each output.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    pub(super) inputs: usize,
    pub(super) outputs: usize,
    pub(super) weight: Vec<f32>,
    pub(super) bias: Vec<f32>,
}

/// A probability from a logit: `1 / (1 + exp(-(scale * logit + shift)))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    pub(super) scale: f32,
    pub(super) shift: f32,
}

/// The layers of [`super::second_look`], whose letters they are.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondLookLayers {
    pub(super) back_gate: Layer,
    pub(super) back_candidate: Layer,
    pub(super) last: Layer,
    pub(super) head: Layer,
    pub(super) pedal_in: Layer,
    pub(super) pedal_gate: Layer,
    pub(super) pedal_candidate: Layer,
    pub(super) pedal_out: Layer,
    pub(super) second_round: SecondRoundLayers,
    pub(super) sounding: Calibration,
    pub(super) onset: Calibration,
    pub(super) pedal: Calibration,
}

/// The layers of [`super::second_round`], whose letters they are.
#[derive(Debug, Clone, PartialEq)]
pub struct SecondRoundLayers {
    pub(super) tell: Layer,
    pub(super) among: Layer,
    pub(super) last: Layer,
    pub(super) head: Layer,
}

/// A trained network's weights; the letters are those of [`super::estimator`].
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// The units of the first layer that a glance takes, and what it makes of them.
    pub(super) glance_units: Layer,
    pub(super) glance: Layer,
    /// The other units of the first layer.
    pub(super) first: Layer,
    pub(super) second: Layer,
    pub(super) opinion: Layer,
    pub(super) context: Layer,
    pub(super) joined: Layer,
    pub(super) gate: Layer,
    pub(super) candidate: Layer,
    pub(super) last: Layer,
    pub(super) head: Layer,
    pub(super) sounding: Calibration,
    pub(super) onset: Calibration,
    /// For recordings, of which it is known what comes after.
    pub(super) second_look: SecondLookLayers,
    metadata: HashMap<String, String>,
}

impl Model {
    /// The model that comes with the program.
    ///
    /// # Panics
    /// Never in a build whose tests pass: they read the same bytes.
    pub fn embedded() -> Self {
        Self::from_bytes(EMBEDDED).expect("the embedded model was checked by the tests")
    }

    /// Which weights come with the program: the FNV-1a hash (64 bits; G. Fowler, L. C. Noll, K.-P. Vo, D. Eastlake, RFC 9923) of their file,
    /// in hexadecimal digits.
    pub fn embedded_id() -> &'static str {
        static ID: LazyLock<String> = LazyLock::new(|| {
            let (offset_basis, prime) = (0xcbf2_9ce4_8422_2325_u64, 0x0000_0100_0000_01b3_u64);
            let hash = EMBEDDED.iter().fold(offset_basis, |hash, &byte| {
                (hash ^ u64::from(byte)).wrapping_mul(prime)
            });
            format!("{hash:016x}")
        });
        &ID
    }

    /// Reads a safetensors file.
    ///
    /// # Errors
    /// [`ModelError`], naming the tensor that is missing or does not fit.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, ModelError> {
        let (_, header) = SafeTensors::read_metadata(bytes)?;
        let file = SafeTensors::deserialize(bytes)?;
        // Rows and columns of a weight name the sizes of the network.
        let size = |name, dimension| {
            file.tensor(name)
                .map_err(|_| ModelError::Missing(name))
                .map(|t| t.shape().get(dimension).copied().unwrap_or(0))
        };
        let rows = |name| size(name, 0);
        let read =
            |weight, bias, outputs, inputs| Layer::read(&file, weight, bias, outputs, inputs);

        let a = rows("w1.weight")?;
        let d = rows("w2.weight")?;
        let c = rows("wc.weight")?;
        let h = rows("w3.weight")?;
        let g = rows("wz.weight")?;
        let l = rows("w4.weight")?;
        let glance = size("wg.weight", 1)?;
        let back = rows("wzb.weight")?;
        let later = rows("w5.weight")?;
        let pedal = rows("wp.weight")?;
        let told = rows("wt.weight")?;
        let among = rows("wa.weight")?;
        let again = rows("w6.weight")?;
        let calibration = tensor(&file, "calibration", &[CALIBRATED, 2])?;
        let calibration = |of: usize| Calibration {
            scale: calibration[2 * of],
            shift: calibration[2 * of + 1],
        };
        let (glance_units, first) = read("w1.weight", "w1.bias", a, INPUTS)?.split(glance);
        Ok(Self {
            glance_units,
            glance: read("wg.weight", "wg.bias", 1, glance)?,
            first,
            second: read("w2.weight", "w2.bias", d, a)?,
            opinion: read("wo.weight", "wo.bias", 1, d)?,
            context: read("wc.weight", "wc.bias", c, (INTERVALS.len() + 1) * d)?,
            joined: read("w3.weight", "w3.bias", h, c + d)?,
            gate: read("wz.weight", "wz.bias", g, h)?,
            candidate: read("wn.weight", "wn.bias", g, h)?,
            last: read("w4.weight", "w4.bias", l, g + h)?,
            head: read("wh.weight", "wh.bias", 2, l)?,
            sounding: calibration(0),
            onset: calibration(1),
            second_look: SecondLookLayers {
                back_gate: read("wzb.weight", "wzb.bias", back, h)?,
                back_candidate: read("wnb.weight", "wnb.bias", back, h)?,
                last: read("w5.weight", "w5.bias", later, g + back + h)?,
                head: read("wh2.weight", "wh2.bias", 2, later)?,
                pedal_in: read("wp.weight", "wp.bias", pedal, 2 * (later + STRETCHES))?,
                pedal_gate: read("wzp.weight", "wzp.bias", pedal, pedal)?,
                pedal_candidate: read("wnp.weight", "wnp.bias", pedal, pedal)?,
                pedal_out: read("wq.weight", "wq.bias", 1, 2 * pedal)?,
                second_round: SecondRoundLayers {
                    tell: read("wt.weight", "wt.bias", told, later)?,
                    among: read("wa.weight", "wa.bias", among, INTERVALS.len() * told)?,
                    last: read("w6.weight", "w6.bias", again, among + later + pedal)?,
                    head: read("wh3.weight", "wh3.bias", 2, again)?,
                },
                sounding: calibration(2),
                onset: calibration(3),
                pedal: calibration(4),
            },
            metadata: header.metadata().clone().unwrap_or_default(),
        })
    }

    /// What the training wrote beside the weights, for instance under "card".
    pub fn metadata(&self) -> &HashMap<String, String> {
        &self.metadata
    }
}

impl Layer {
    fn read(
        file: &SafeTensors,
        weight: &'static str,
        bias: &'static str,
        outputs: usize,
        inputs: usize,
    ) -> Result<Self, ModelError> {
        Ok(Self {
            inputs,
            outputs,
            weight: tensor(file, weight, &[outputs, inputs])?,
            bias: tensor(file, bias, &[outputs])?,
        })
    }

    /// Two layers over the same inputs: the first outputs, at most `many`, and the others.
    fn split(mut self, many: usize) -> (Self, Self) {
        let many = many.min(self.outputs);
        let others = Self {
            inputs: self.inputs,
            outputs: self.outputs - many,
            weight: self.weight.split_off(many * self.inputs),
            bias: self.bias.split_off(many),
        };
        self.outputs = many;
        (self, others)
    }
}

/// The number that 16 bits say (binary16 of IEEE 754).
fn of_half_precision(bits: u16) -> f32 {
    const SMALLEST: f32 = 1.0 / (1 << 24) as f32;
    let (sign, exponent, fraction) = (bits >> 15, bits >> 10 & 31, bits & 1023);
    let size = match exponent {
        0 => f32::from(fraction) * SMALLEST,
        31 if fraction == 0 => f32::INFINITY,
        31 => f32::NAN,
        _ => f32::from_bits(u32::from(exponent + 112) << 23 | u32::from(fraction) << 13),
    };
    if sign == 1 { -size } else { size }
}

fn tensor(
    file: &SafeTensors,
    name: &'static str,
    expected: &[usize],
) -> Result<Vec<f32>, ModelError> {
    let view = file.tensor(name).map_err(|_| ModelError::Missing(name))?;
    if view.shape() != expected || expected.contains(&0) {
        return Err(ModelError::Shape {
            name,
            found: view.shape().to_vec(),
            expected: expected.to_vec(),
        });
    }
    let values: Vec<f32> = match view.dtype() {
        Dtype::F32 => {
            let numbers = view.data().as_chunks().0.iter();
            numbers.map(|&bytes| f32::from_le_bytes(bytes)).collect()
        }
        Dtype::F16 => {
            let numbers = view.data().as_chunks().0.iter();
            let bits = numbers.map(|&bytes| u16::from_le_bytes(bytes));
            bits.map(of_half_precision).collect()
        }
        found => return Err(ModelError::NotFloat { name, found }),
    };
    if values.iter().all(|v| v.is_finite()) {
        Ok(values)
    } else {
        Err(ModelError::NotFinite(name))
    }
}

#[cfg(test)]
mod tests {
    use super::of_half_precision;

    #[test]
    fn sixteen_bits_say_what_the_standard_says() {
        // IEEE 754-2019, 3.4: one, minus two, a third, the largest, the smallest normal and the smallest of all
        let known = [
            (0x3c00, 1.0),
            (0xc000, -2.0),
            (0x3555, 0.333_251_95),
            (0x7bff, 65504.0),
            (0x0400, 6.103_515_6e-5),
            (0x0001, 5.960_464_5e-8),
            (0x8000, -0.0),
        ];
        for (bits, number) in known {
            assert_eq!(of_half_precision(bits), number, "{bits:#06x}");
        }
        assert!(
            of_half_precision(0x7e00).is_nan() && of_half_precision(0xfc00) == f32::NEG_INFINITY
        );
    }
}
