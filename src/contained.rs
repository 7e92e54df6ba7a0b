//! Keeps a fault of lidprop itself, or of a decoder over a damaged recording, to the work in which it showed.
//!
//! Input: a piece of work that may panic. Output: what it gives, or the [`Fault`] as one sentence.
//! Units: none. Method: [`std::panic::catch_unwind`], and a panic hook that notes what a contained panic says instead of printing it;
//! any other panic is told as ever. What the work was changing is in no known state after a fault: throw it away.
//! Limits: a panic on a thread that the work starts of itself, a stack that overflows and memory that runs out are not contained.

use std::any::Any;
use std::cell::{Cell, RefCell};
use std::fmt;
use std::panic::{self, AssertUnwindSafe, PanicHookInfo};
use std::sync::Once;

const _: () = assert!(
    cfg!(panic = "unwind"),
    "a panic that aborts cannot be contained: leave `panic` of the profile at \"unwind\""
);

/// A place where lidprop contradicts itself: what it says and where in the source it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What the panic says, on one line.
    pub says: String,
    /// File and line of the source, where they are known.
    pub place: Option<String>,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a fault of lidprop itself ({}", self.says)?;
        if let Some(place) = &self.place {
            write!(f, ", {place}")?;
        }
        write!(f, ", version {})", env!("CARGO_PKG_VERSION"))
    }
}

/// What to do about a fault, as the end of its sentence.
pub fn please_report() -> String {
    let whom = match env!("CARGO_PKG_REPOSITORY") {
        "" => "to whom you have lidprop from".to_owned(),
        address => format!("at {address}"),
    };
    format!(
        "please report it {whom}: this sentence, and the recording if you may pass it on (README, \"Reporting a fault\")"
    )
}

thread_local! {
    static CONTAINING: Cell<bool> = const { Cell::new(false) };
    static NOTED: RefCell<Option<Fault>> = const { RefCell::new(None) };
}

/// Whether this thread is within contained work, so that a panic of it will be told as a [`Fault`].
pub fn containing() -> bool {
    CONTAINING.get()
}

/// Does the work; a panic of it ends it and nothing else, and says nothing by itself.
///
/// # Errors
/// The fault, if the work panicked.
pub fn contained<T>(work: impl FnOnce() -> T) -> Result<T, Fault> {
    note_contained_panics();
    let outside = CONTAINING.replace(true);
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    CONTAINING.set(outside);
    outcome.map_err(|payload| {
        NOTED.take().unwrap_or_else(|| Fault {
            says: words(payload.as_ref()),
            place: None,
        })
    })
}

/// From the first contained work on, panics of such work are noted; all others go to the hook of before.
fn note_contained_panics() {
    static NOTING: Once = Once::new();
    NOTING.call_once(|| {
        let tell = panic::take_hook();
        panic::set_hook(Box::new(move |told| {
            if containing() {
                NOTED.set(Some(noted(told)));
            } else {
                tell(told);
            }
        }));
    });
}

fn noted(told: &PanicHookInfo<'_>) -> Fault {
    Fault {
        says: words(told.payload()),
        place: told
            .location()
            .map(|at| format!("{}:{}", at.file(), at.line())),
    }
}

/// What a panic says, on one line.
fn words(payload: &(dyn Any + Send)) -> String {
    let text = payload
        .downcast_ref::<&str>()
        .copied()
        .or_else(|| payload.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("it says nothing");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_without_a_fault_gives_what_it_gives() {
        assert_eq!(contained(|| 88), Ok(88));
        assert!(!containing());
    }

    #[test]
    fn a_fault_is_one_line_that_says_what_and_where() {
        let bars = 3;
        let fault = contained(|| panic!("bar {bars}\n  has no chord")).unwrap_err();
        assert_eq!(fault.says, "bar 3 has no chord");
        let place = fault.place.as_deref().expect("the hook has noted it");
        assert!(place.contains("contained.rs:"), "{place}");
        let sentence = fault.to_string();
        assert!(sentence.contains(&fault.says) && sentence.contains(place));
        assert!(sentence.contains(env!("CARGO_PKG_VERSION")), "{sentence}");
        assert_eq!(sentence.lines().count(), 1);
    }

    #[test]
    fn faults_of_arithmetic_and_of_what_is_missing_are_contained_too() {
        let (keys, none): (Vec<u8>, Option<u8>) = (vec![60, 64], None);
        let beyond = keys.len() + 5;
        let fault = contained(|| keys[beyond]).unwrap_err();
        assert!(fault.says.contains("index out of bounds"), "{fault}");
        let fault = contained(|| none.expect("a lowest key")).unwrap_err();
        assert_eq!(fault.says, "a lowest key");
    }

    #[test]
    fn a_fault_of_work_within_work_ends_the_inner_one_alone() {
        let outer = contained(|| {
            let inner = contained(|| panic!("inner"));
            assert!(containing(), "the outer work is still contained");
            inner.map_err(|fault: Fault| fault.says)
        });
        assert_eq!(outer, Ok(Err::<(), _>("inner".to_owned())));
        assert!(!containing());
        let later = contained(|| panic!("another one")).map(|()| 0).unwrap_err();
        assert_eq!(later.says, "another one", "nothing of the first is left");
    }

    #[test]
    fn each_thread_has_its_own_fault() {
        let threads: Vec<_> = (0..8)
            .map(|n| std::thread::spawn(move || contained(|| panic!("number {n}")).map(|()| 0)))
            .collect();
        for (n, thread) in threads.into_iter().enumerate() {
            let fault = thread.join().expect("the panic was contained").unwrap_err();
            assert_eq!(fault.says, format!("number {n}"));
        }
    }
}
