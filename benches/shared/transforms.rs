//! The bare transforms that listening cannot do without: the yardstick of its speed.
//!
//! Input: sound at the internal rate. Output: none; they are run. Units: samples. Method: realfft. Limits: a hop and windows as `lidprop::spectrum` has
//! them, stated anew here.

use realfft::RealFftPlanner;
use std::hint::black_box;

/// Samples from one look at the sound to the next, and the two windows, as `lidprop::spectrum` has them.
const HOP: usize = 512;
const WINDOWS: [usize; 2] = [8192, 2048];

/// Both transforms of every hop of `sound`, and nothing else.
pub fn transforming(sound: &[f32]) -> impl FnMut() {
    let mut planner = RealFftPlanner::<f32>::new();
    let mut transforms = WINDOWS.map(|window| {
        let transform = planner.plan_fft_forward(window);
        let (input, output) = (transform.make_input_vec(), transform.make_output_vec());
        let scratch = transform.make_scratch_vec();
        (transform, input, output, scratch)
    });
    move || {
        for end in (WINDOWS[0]..sound.len()).step_by(HOP) {
            for (transform, input, output, scratch) in &mut transforms {
                let start = end - input.len();
                input.copy_from_slice(&sound[start..end]);
                transform
                    .process_with_scratch(input, output, scratch)
                    .expect("buffers were made by the transform itself");
                black_box(&output);
            }
        }
    }
}
