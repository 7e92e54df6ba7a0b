//! `lidprop drill --from FILE`: marks a recording.
//!
//! Input: a recording, an exercise. Output: a line an attempt, or JSON. Units: seconds from the start of the recording.
//! Method: every order and first key that was not stated is tried; [`crate::session::drilled`] marks. Limits: those of the marking.

use super::kept::{Keeper, Sitting};
use super::{DrillArgs, DrillFormat, starts};
use crate::cli::clock::Moment;
use crate::cli::error::{CliError, CommandResult, tell};
use crate::practice::align::Played;
use crate::practice::{Exercise, MarkRules, Material, Order};
use crate::publish::drill::DrillDocument;
use crate::session::drilled::{Drilled, mark_recording};
use crate::view::drill::print_drill;
use crate::view::ink::Ink;
use std::io::{self, Write};
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// Runs the command on a recording.
///
/// # Errors
/// If the recording cannot be read, nothing was played in it, or the result not be written or kept.
pub fn run(args: &DrillArgs, path: &Path) -> CommandResult {
    let exercise = args.exercise(args.order.clone().unwrap_or(Order::Fourths))?;
    let played = played(args, &exercise)?;
    let title = match args.order {
        Some(_) => exercise.title(),
        None => exercise.subject(),
    };
    let listening = args.piano.listening()?;
    let rules = MarkRules::default();
    let stop = AtomicBool::new(false);
    let drilled = mark_recording(path, &listening, played, &rules, &stop, |_| {})?;
    let name = path.display().to_string();
    if drilled.attempts.is_empty() && args.write.is_none() {
        let why = drilled.warnings.first().map_or(
            "no attempt was found, that is, no two keys struck together that go with it; read it with `lidprop take` to see what was played",
            |warning| warning,
        );
        return Err(CliError::failed(format!("{name}: {why}")));
    }
    for warning in &drilled.warnings {
        tell(&format!("{name}: {warning}"));
    }
    if args.keep {
        keep(args, &title, &name, &drilled)?;
    }
    let mut out = io::stdout();
    match args.write {
        Some(DrillFormat::Json) => {
            let Drilled {
                attempts,
                length,
                warnings,
            } = drilled;
            let document = DrillDocument::new(name, title, length, warnings, &attempts);
            serde_json::to_writer(&mut out, &document)
                .map_err(io::Error::from)
                .and_then(|()| writeln!(out))
                .map_err(CliError::from_stdout)
        }
        None => {
            let (ink, style) = Ink::for_style(args.style);
            print_drill(&drilled.attempts, style, ink, &mut out).map_err(CliError::from_stdout)
        }
    }
}

/// What may have been played: the round as stated; every order and first key that was not; or, where the order was drawn, every key at any time.
fn played(args: &DrillArgs, exercise: &Exercise) -> Result<Played, CliError> {
    let orders: Vec<Order> = match &args.order {
        Some(Order::Random | Order::WeakestFirst) => {
            return Ok(Played::InAnyOrder(exercise.round(0, &[])?));
        }
        Some(order) => vec![order.clone()],
        None => Order::fixed().collect(),
    };
    let mut rounds = Vec::new();
    for order in orders {
        let stated =
            matches!(order, Order::Own(_)) || matches!(exercise.material, Material::Chart(_));
        let starts = if stated {
            vec![exercise.start]
        } else {
            starts(exercise)
        };
        for start in starts {
            let one = Exercise {
                order: order.clone(),
                start,
                ..exercise.clone()
            };
            rounds.push(one.round(0, &[])?);
        }
    }
    Ok(Played::OneOf(rounds))
}

fn keep(args: &DrillArgs, title: &str, name: &str, drilled: &Drilled) -> CommandResult {
    let mut keeper = Keeper::open(Sitting {
        player: args.player().to_owned(),
        exercise: title.to_owned(),
        tempo: args.tempo,
        piano: args.piano.piano.clone(),
        source: name.to_owned(),
    })?;
    // when it was recorded is not known: it counts as played now, its last attempt last
    let now = Moment::now();
    for marked in &drilled.attempts {
        let struck = marked
            .attempt
            .start
            .seconds(crate::units::SampleRate::INTERNAL);
        let moment = now.earlier(drilled.length.get() - struck.get());
        let (spread, held) = (marked.attempt.spread(), marked.attempt.held());
        keeper.keep(
            moment,
            &marked.target,
            &marked.mark,
            marked.took,
            spread,
            held,
        )?;
    }
    Ok(())
}
