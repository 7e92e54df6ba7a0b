//! What fuzzing has found stays mended, and some changed inputs for every reader, the same in each run. `make fuzz` does more.

#[path = "fuzz/change.rs"]
mod change;
#[path = "fuzz/targets.rs"]
mod targets;

use change::changed;
use fastrand::Rng;
use std::path::Path;
use targets::TARGETS;

#[test]
fn what_has_shown_a_fault_once_is_read_or_refused() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/found");
    for entry in std::fs::read_dir(folder).expect("it is part of the project") {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let target = TARGETS
            .iter()
            .find(|target| name.starts_with(&format!("{}-", target.name)))
            .unwrap_or_else(|| panic!("{name} names no target"));
        println!("{name}");
        let account = (target.read)(&std::fs::read(&path).unwrap());
        println!("  {account}");
    }
}

#[test]
fn seeds_are_read_and_changed_ones_bring_no_panic() {
    let project = Path::new(env!("CARGO_MANIFEST_DIR"));
    for target in TARGETS {
        let seeds = target.seeds(project);
        let mut random = Rng::with_seed(1);
        for seed in &seeds {
            (target.read)(seed);
        }
        for _ in 0..60 {
            let (one, other) = (random.usize(..seeds.len()), random.usize(..seeds.len()));
            (target.read)(&changed(&seeds[one], &seeds[other], target, &mut random));
        }
    }
}
