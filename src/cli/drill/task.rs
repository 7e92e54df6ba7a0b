//! What to practise now: what was typed, a plan, or what is due.
//!
//! Input: the options, the logbook, the date. Output: [`Task`]s. Units: days. Method: a plan gives the items of this day of the week;
//! with no words at all the logbook says what is due, a task for each chord type and form. Limits: at most [`MOST_DUE`] due chords at once.

use super::DrillArgs;
use super::live::Task;
use crate::cli::clock::Moment;
use crate::cli::error::CliError;
use crate::harmony::{PitchClass, Spelled};
use crate::practice::plan::{Item, SHIPPED};
use crate::practice::tally::Overview;
use crate::practice::{Exercise, Form, KeyRange, Material, Order, Plan, Target};
use crate::store::file::read_text;
use crate::store::logbook::Logbook;
use std::path::Path;

/// Chords that are asked for at once where all that is due is asked for.
const MOST_DUE: usize = 24;
/// A plan has no more bytes.
const LARGEST_PLAN: u64 = 1_000_000;

/// What to practise now.
///
/// # Errors
/// If it cannot be read, or nothing is due.
pub fn tasks(args: &DrillArgs) -> Result<Vec<Task>, CliError> {
    match &args.plan {
        Some(plan) => of_plan(args, plan),
        None if !args.states_material() => due(args),
        None => {
            let exercise = args.exercise(args.order.clone().unwrap_or(Order::Fourths))?;
            Ok(vec![task(
                args,
                exercise,
                args.rounds.unwrap_or(1),
                args.tempo,
                args.listen,
            )?])
        }
    }
}

fn task(
    args: &DrillArgs,
    exercise: Exercise,
    rounds: u32,
    tempo: Option<f64>,
    listen: bool,
) -> Result<Task, CliError> {
    let weakest = match exercise.order {
        Order::WeakestFirst => weakest(args, &exercise)?,
        _ => Vec::new(),
    };
    let mut targets: Vec<Target> = Vec::new();
    for _ in 0..rounds {
        targets.extend(exercise.round(fastrand::u64(..), &weakest)?);
    }
    Ok(Task {
        exercise,
        targets,
        tempo,
        listen,
    })
}

fn overview(args: &DrillArgs) -> Result<Overview, CliError> {
    let logbook = Logbook::open(&Logbook::path_of_user()?)?;
    Ok(logbook.overview(args.player(), Moment::now().day)?)
}

fn weakest(args: &DrillArgs, exercise: &Exercise) -> Result<Vec<PitchClass>, CliError> {
    let Some(first) = exercise.round(0, &[])?.first().map(Target::chord_type) else {
        return Ok(Vec::new());
    };
    let roots = overview(args)?.weakest(&first);
    Ok(roots
        .into_iter()
        .map(|root| PitchClass::new(root.into()))
        .collect())
}

/// What is due, a task for each chord type and form, in the order in which it is due.
fn due(args: &DrillArgs) -> Result<Vec<Task>, CliError> {
    let overview = overview(args)?;
    if overview.items.is_empty() {
        return Err(CliError::Usage(format!(
            "nothing is kept of '{}' yet, so nothing is due; say what to practise: lidprop drill \"dim(maj7)\", or --plan first-sevenths",
            args.player()
        )));
    }
    let mut groups: Vec<(String, Form, Vec<Spelled>)> = Vec::new();
    for item in overview.due(Moment::now().day).take(MOST_DUE) {
        // voicings of the player's own are kept by name only
        let Ok(form) = item.form.parse::<Form>() else {
            continue;
        };
        let root = Spelled::usual(PitchClass::new(item.root.into()));
        match groups
            .iter_mut()
            .find(|(kind, of, _)| *kind == item.chord_type && *of == form)
        {
            Some((.., roots)) => roots.push(root),
            None => groups.push((item.chord_type.clone(), form, vec![root])),
        }
    }
    if groups.is_empty() {
        return Err(CliError::failed(
            "nothing is due today; rest, or say what to practise all the same",
        ));
    }
    groups
        .into_iter()
        .map(|(kind, form, roots)| {
            let exercise = Exercise {
                material: Material::read(&[kind])?,
                form: Some(form),
                order: Order::Own(roots),
                start: None,
                range: KeyRange::PIANO,
            };
            task(args, exercise, 1, args.tempo, args.listen)
        })
        .collect()
}

fn of_plan(args: &DrillArgs, path: &Path) -> Result<Vec<Task>, CliError> {
    let name = path.display().to_string();
    let text = plan_text(path)?;
    let plan = Plan::read(&text, &name)
        .map_err(|error| CliError::failed(format!("{error}; mend that line")))?;
    let items: Vec<&Item> = plan.due_on(Moment::now().weekday).collect();
    if items.is_empty() {
        return Err(CliError::failed(format!(
            "{name}: the plan \"{}\" has nothing for today; rest, or say what to practise",
            plan.title
        )));
    }
    if let Some(note) = &plan.note {
        eprintln!("{}: {note}", plan.title);
    }
    let made = items.into_iter().map(|item| {
        let tempo = args.tempo.or(item.tempo);
        task(args, item.exercise.clone(), item.rounds, tempo, item.listen)
    });
    let tasks: Vec<Task> = made.collect::<Result<_, _>>()?;
    Ok(tasks)
}

/// The text of a plan: a file, or one that comes with the program.
fn plan_text(path: &Path) -> Result<String, CliError> {
    let shipped = SHIPPED.iter().find(|(name, _)| path.as_os_str() == *name);
    if let Some((_, text)) = shipped.filter(|_| !path.exists()) {
        return Ok((*text).to_owned());
    }
    let names: Vec<&str> = SHIPPED.iter().map(|(name, _)| *name).collect();
    let refuse = |why: &dyn std::fmt::Display| {
        CliError::failed(format!(
            "{}: the plan cannot be read ({why}); give a file, or one of {}",
            path.display(),
            names.join(", ")
        ))
    };
    read_text(path, LARGEST_PLAN).map_err(|error| refuse(&error))
}
