//! `lidprop soundcheck --pianos` and what belongs to it: the learned pianos listed, compared, brought back, removed.
//!
//! Input: names of kept pianos. Output: lines of text. Units: Hz, cents, days.
//! Method: [`crate::store::pianos`] keeps them. Limits: two lessons of one piano differ by some cents for the room and the microphone alone.

use super::error::{CliError, CommandResult};
use crate::harmony::note_name;
use crate::piano::{Finding, PianoProfile, findings};
use crate::practice::course::median;
use crate::store::pianos::{self, Kept};
use crate::units::MidiNote;
use crate::units::count::plural;
use std::io::{self, Write};
use std::time::SystemTime;

/// Seconds of a day.
const DAY: u64 = 86_400;
/// A new lesson with less than this share of the keys of the one before is poorer.
const AS_GOOD: f64 = 0.9;
/// Keys that are named one by one at most.
const NAMED_KEYS: usize = 8;

/// Lists all learned pianos.
///
/// # Errors
/// If there is no home for them, or `out` cannot be written to.
pub fn list(out: &mut impl Write) -> CommandResult {
    let all = pianos::list()?;
    print_list(&all, SystemTime::now(), out).map_err(CliError::from_stdout)
}

fn print_list(all: &[Kept], now: SystemTime, out: &mut impl Write) -> io::Result<()> {
    if all.is_empty() {
        return writeln!(
            out,
            "No piano has been learned yet: lidprop soundcheck --learn NAME"
        );
    }
    let wide = all.iter().map(|kept| kept.name.chars().count()).max();
    let wide = wide.unwrap_or_default();
    writeln!(out, "Learned pianos:")?;
    for kept in all {
        let earlier = match kept.has_earlier {
            true => "; the lesson before is kept too",
            false => "",
        };
        writeln!(
            out,
            "  {:wide$}  {}{earlier}",
            kept.name,
            in_short(kept, now)
        )?;
    }
    Ok(())
}

/// `23 keys, A4 at 439.7 Hz, learned 3 days ago`.
pub(super) fn in_short(kept: &Kept, now: SystemTime) -> String {
    let what = match &kept.profile {
        Ok(profile) => format!(
            "{}, A4 at {:.1} Hz",
            plural(profile.keys.len(), "key"),
            profile.a4.get()
        ),
        Err(_) => "it cannot be read: learn it again, or remove it".to_owned(),
    };
    let learned = kept.learned.map_or(String::new(), |learned| {
        format!(", learned {}", ago(learned, now))
    });
    format!("{what}{learned}")
}

fn ago(then: SystemTime, now: SystemTime) -> String {
    let seconds = now.duration_since(then).unwrap_or_default().as_secs();
    match seconds / DAY {
        0 => "within the last day".to_owned(),
        1 => "a day ago".to_owned(),
        days => format!("{days} days ago"),
    }
}

/// What `new` is poorer in than the lesson that it replaces; `None` where it is as good.
pub(super) fn poorer(new: &PianoProfile, before: &PianoProfile) -> Option<String> {
    let few = (new.keys.len() as f64) < AS_GOOD * before.keys.len() as f64;
    few.then(|| {
        format!(
            "This lesson is poorer than the one before: {}, where that had {}. To have that back: lidprop soundcheck --restore \"{}\"",
            plural(new.keys.len(), "key"),
            before.keys.len(),
            new.name
        )
    })
}

/// Brings the lesson before back.
///
/// # Errors
/// If there is none, or `out` cannot be written to.
pub fn restore(name: &str, out: &mut impl Write) -> CommandResult {
    let profile = pianos::restore(name)?;
    writeln!(
        out,
        "The lesson before is back: {}, A4 at {:.1} Hz. The same command again brings the other one back.",
        plural(profile.keys.len(), "key"),
        profile.a4.get()
    )
    .map_err(CliError::from_stdout)
}

/// Removes a piano.
///
/// # Errors
/// If there is none of this name, or `out` cannot be written to.
pub fn remove(name: &str, out: &mut impl Write) -> CommandResult {
    pianos::remove(name)?;
    writeln!(out, "Removed \"{name}\".").map_err(CliError::from_stdout)
}

/// Says in what two pianos, or two lessons of one, differ.
///
/// # Errors
/// If one of them is not there, or `out` cannot be written to.
pub fn compare(one: &str, other: &str, out: &mut impl Write) -> CommandResult {
    print_comparison(&pianos::load(one)?, &pianos::load(other)?, out).map_err(CliError::from_stdout)
}

fn print_comparison(
    one: &PianoProfile,
    other: &PianoProfile,
    out: &mut impl Write,
) -> io::Result<()> {
    let wide = one.name.chars().count().max(12);
    writeln!(out, "{:18} {:wide$}  {}", "", one.name, other.name)?;
    let mut row = |what: &str, of: &dyn Fn(&PianoProfile) -> String| {
        writeln!(out, "{what:18} {:wide$}  {}", of(one), of(other))
    };
    row("keys learned", &|piano| piano.keys.len().to_string())?;
    row("pitch of A4", &|piano| format!("{:.1} Hz", piano.a4.get()))?;
    let told = |piano: &PianoProfile, off: bool| {
        let of_kind = |finding: &&Finding| matches!(finding, Finding::OffPitch { .. }) == off;
        findings(piano).iter().filter(of_kind).count().to_string()
    };
    row("keys off pitch", &|piano| told(piano, true))?;
    row("unisons that beat", &|piano| told(piano, false))?;
    let apart = apart(one, other);
    let Some(&(key, farthest)) = apart.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) else {
        return writeln!(out, "No key was learned of both.");
    };
    let sizes: Vec<f64> = apart.iter().map(|(_, cents)| cents.abs()).collect();
    let way = if farthest > 0.0 { "higher" } else { "lower" };
    writeln!(
        out,
        "{} in both; beside the A4 of each they lie {:.1} cents apart (median), farthest {}: {:.0} cents {way} on \"{}\".",
        plural(apart.len(), "key"),
        median(&sizes).unwrap_or_default(),
        note_name(key),
        farthest.abs(),
        other.name
    )?;
    for (has, lacks) in [(one, other), (other, one)] {
        let only: Vec<String> = has
            .keys
            .iter()
            .filter(|key| lacks.keys.iter().all(|known| known.midi != key.midi))
            .map(|key| note_name(key.midi))
            .collect();
        if !only.is_empty() {
            writeln!(out, "Only \"{}\" has: {}.", has.name, named(&only))?;
        }
    }
    Ok(())
}

/// How much higher each key that both have is on the other, in cents beside the A4 of each.
fn apart(one: &PianoProfile, other: &PianoProfile) -> Vec<(MidiNote, f64)> {
    let of_both = one.keys.iter().filter_map(|key| {
        let same = other.keys.iter().find(|known| known.midi == key.midi)?;
        Some((key.midi, same.cents - key.cents))
    });
    of_both.collect()
}

/// The first names, and how many more there are.
pub(super) fn named(keys: &[String]) -> String {
    let first = keys[..keys.len().min(NAMED_KEYS)].join(", ");
    match keys.len().saturating_sub(NAMED_KEYS) {
        0 => first,
        more => format!("{first} and {more} more"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::piano::KeyProfile;
    use crate::units::Hertz;
    use std::time::Duration;

    fn piano(name: &str, keys: &[(u8, f64)]) -> PianoProfile {
        let key = |&(midi, cents): &(u8, f64)| KeyProfile {
            midi: MidiNote::new(midi).unwrap(),
            cents,
            stiffness: 4e-4,
            decay: None,
            partials_db: Vec::new(),
            spectrum_db: None,
            beating: None,
            own_log_odds: 4.0,
            strikes: 1,
        };
        PianoProfile {
            schema: crate::piano::profile::SCHEMA.to_owned(),
            name: name.to_owned(),
            a4: Hertz::new(438.0).unwrap(),
            keys: keys.iter().map(key).collect(),
        }
    }

    #[test]
    fn a_lesson_of_fewer_keys_is_called_poorer_and_one_of_as_many_is_not() {
        let many: Vec<(u8, f64)> = (40..60).map(|midi| (midi, 0.0)).collect();
        let before = piano("parlour", &many);
        let told = poorer(&piano("parlour", &many[..9]), &before).unwrap();
        assert!(told.contains("9 keys, where that had 20"), "{told}");
        assert!(told.contains("--restore \"parlour\""), "{told}");
        assert_eq!(poorer(&piano("parlour", &many[1..]), &before), None);
    }

    #[test]
    fn two_pianos_are_compared_by_the_keys_that_both_have() {
        let one = piano("parlour", &[(60, 0.0), (62, 1.0), (64, -2.0)]);
        let other = piano("hall", &[(60, 1.0), (62, 13.0), (65, 0.0)]);
        let mut text = Vec::new();
        print_comparison(&one, &other, &mut text).unwrap();
        let text = String::from_utf8(text).unwrap();
        assert!(text.contains("2 keys in both"), "{text}");
        assert!(
            text.contains("farthest D4: 12 cents higher on \"hall\""),
            "{text}"
        );
        assert!(text.contains("Only \"parlour\" has: E4."), "{text}");
        assert!(text.contains("Only \"hall\" has: F4."), "{text}");
    }

    #[test]
    fn the_list_says_of_each_what_was_learned_and_when() {
        let now = SystemTime::UNIX_EPOCH + Duration::from_secs(40 * DAY);
        let kept = |name: &str, days: u64, has_earlier| Kept {
            name: name.to_owned(),
            profile: Ok(piano(name, &[(60, 0.0)])),
            learned: Some(now - Duration::from_secs(days * DAY + 5)),
            has_earlier,
        };
        let mut text = Vec::new();
        let all = [kept("hall", 0, false), kept("parlour", 3, true)];
        print_list(&all, now, &mut text).unwrap();
        assert_eq!(
            String::from_utf8(text).unwrap(),
            "Learned pianos:\n  hall     1 key, A4 at 438.0 Hz, learned within the last day\n  parlour  1 key, A4 at 438.0 Hz, \
             learned 3 days ago; the lesson before is kept too\n"
        );
    }
}
