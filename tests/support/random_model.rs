//! A note model of any size with random weights, as the bytes of a safetensors file.
//!
//! For tests and benchmarks of the inference itself; it hears nothing. Weights are uniform, scaled by the number of inputs, seeded.

use lidprop::notes::network::estimator::DOUBT;
use lidprop::notes::network::features::INPUTS;
use lidprop::notes::network::model::{INTERVALS, STRETCHES};
use safetensors::tensor::{Dtype, TensorView};

/// Sizes of the layers, by the letters of the network's description.
#[derive(Clone, Copy)]
pub struct Sizes {
    /// Units of the first layer that the glance takes.
    pub p: usize,
    pub a: usize,
    pub d: usize,
    pub c: usize,
    pub h: usize,
    pub g: usize,
    pub l: usize,
}

/// Units of the memory that runs backward, of what is found of the pedal, of what a key tells the others and of what it is told.
const BACK: usize = 3;
const PEDAL: usize = 6;
const TOLD: usize = 2;
const AMONG: usize = 5;

/// Name, shape and values.
pub type Tensor = (&'static str, Vec<usize>, Vec<f32>);

/// Names and shapes of the tensors of a model of these sizes.
pub fn shapes(
    Sizes {
        p,
        a,
        d,
        c,
        h,
        g,
        l,
    }: Sizes,
) -> Vec<(&'static str, Vec<usize>)> {
    vec![
        ("w1.weight", vec![a, INPUTS]),
        ("w1.bias", vec![a]),
        ("wg.weight", vec![1, p]),
        ("wg.bias", vec![1]),
        ("w2.weight", vec![d, a]),
        ("w2.bias", vec![d]),
        ("wo.weight", vec![1, d]),
        ("wo.bias", vec![1]),
        ("wc.weight", vec![c, (INTERVALS.len() + 1) * d]),
        ("wc.bias", vec![c]),
        ("w3.weight", vec![h, c + d]),
        ("w3.bias", vec![h]),
        ("wz.weight", vec![g, h]),
        ("wz.bias", vec![g]),
        ("wn.weight", vec![g, h]),
        ("wn.bias", vec![g]),
        ("w4.weight", vec![l, g + h]),
        ("w4.bias", vec![l]),
        ("wh.weight", vec![2, l]),
        ("wh.bias", vec![2]),
        ("calibration", vec![5, 2]),
        ("wzb.weight", vec![BACK, h]),
        ("wzb.bias", vec![BACK]),
        ("wnb.weight", vec![BACK, h]),
        ("wnb.bias", vec![BACK]),
        ("w5.weight", vec![l, g + BACK + h]),
        ("w5.bias", vec![l]),
        ("wh2.weight", vec![2, l]),
        ("wh2.bias", vec![2]),
        ("wp.weight", vec![PEDAL, 2 * (l + STRETCHES)]),
        ("wp.bias", vec![PEDAL]),
        ("wzp.weight", vec![PEDAL, PEDAL]),
        ("wzp.bias", vec![PEDAL]),
        ("wnp.weight", vec![PEDAL, PEDAL]),
        ("wnp.bias", vec![PEDAL]),
        ("wq.weight", vec![1, 2 * PEDAL]),
        ("wq.bias", vec![1]),
        ("wt.weight", vec![TOLD, l]),
        ("wt.bias", vec![TOLD]),
        ("wa.weight", vec![AMONG, INTERVALS.len() * TOLD]),
        ("wa.bias", vec![AMONG]),
        ("w6.weight", vec![l, AMONG + l + PEDAL]),
        ("w6.bias", vec![l]),
        ("wh3.weight", vec![2, l]),
        ("wh3.bias", vec![2]),
    ]
}

/// The values of each tensor, in the order of [`shapes`].
pub fn values(sizes: Sizes, seed: u32) -> Vec<Tensor> {
    let mut state = seed;
    let mut uniform = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state) / f64::from(u32::MAX) * 2.0 - 1.0
    };
    shapes(sizes)
        .into_iter()
        .map(|(name, shape)| {
            let scale = if shape.len() > 1 {
                2.0 / (shape[1] as f64).sqrt()
            } else {
                0.2
            };
            // About half of the keys are looked at, and half of those are in question.
            let middle = if name == "wg.bias" || name == "wo.bias" {
                DOUBT
            } else {
                0.0
            };
            let values = (0..shape.iter().product())
                .map(|_| middle + (scale * uniform()) as f32)
                .collect();
            (name, shape, values)
        })
        .collect()
}

/// A model file made of `tensors`.
pub fn file(tensors: &[Tensor]) -> Vec<u8> {
    let bytes: Vec<Vec<u8>> = tensors
        .iter()
        .map(|(_, _, v)| v.iter().flat_map(|x| x.to_le_bytes()).collect())
        .collect();
    let views = tensors.iter().zip(&bytes).map(|((name, shape, _), data)| {
        (
            *name,
            TensorView::new(Dtype::F32, shape.clone(), data)
                .expect("as many values as the shape says"),
        )
    });
    safetensors::serialize(views, None).expect("a valid file")
}
