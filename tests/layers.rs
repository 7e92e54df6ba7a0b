//! The layers: which module may use which, read from the paths in `src`.
//!
//! [`MODULES`] is the order that `src/lib.rs` and DEVELOPERS.md state, [`HARMONY`] that of the rooms of `src/harmony`. Tests inside the modules
//! may use what they like.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// A module, and the modules it may use: all stand above it.
type Layer = (&'static str, &'static [&'static str]);

/// The modules, in the order in which sound flows.
const MODULES: &[Layer] = &[
    ("units", &[]),
    ("contained", &[]),
    ("audio", &["units", "contained"]),
    ("spectrum", &["units"]),
    ("piano", &["units", "spectrum"]),
    ("tone", &["units"]),
    ("notes", &["units", "spectrum", "piano"]),
    ("harmony", &["units"]),
    ("playing", &["units", "harmony"]),
    ("listener", &["units", "spectrum", "piano", "notes"]),
    ("answer", &["units", "harmony", "playing", "listener"]),
    (
        "chart",
        &["units", "harmony", "playing", "listener", "answer"],
    ),
    ("practice", &["units", "harmony", "listener"]),
    (
        "view",
        &[
            "units", "audio", "spectrum", "harmony", "playing", "listener", "answer", "chart",
            "practice",
        ],
    ),
    (
        "publish",
        &["units", "harmony", "listener", "chart", "practice", "view"],
    ),
    ("store", &["units", "piano", "practice"]),
    (
        "session",
        &[
            "units",
            "contained",
            "audio",
            "spectrum",
            "piano",
            "notes",
            "harmony",
            "playing",
            "listener",
            "answer",
            "chart",
            "practice",
            "publish",
            "store",
        ],
    ),
    (
        "cli",
        &[
            "units", "audio", "spectrum", "piano", "tone", "notes", "harmony", "playing",
            "listener", "answer", "chart", "practice", "publish", "view", "store", "session",
        ],
    ),
];

/// The rooms of `src/harmony`, in the order in which a musician would explain them.
const HARMONY: &[Layer] = &[
    ("pitch", &[]),
    ("chord", &["pitch"]),
    ("function", &["pitch"]),
    ("sounding", &["pitch"]),
    ("context", &["pitch", "chord"]),
    ("named", &["pitch", "chord", "function"]),
    (
        "speller",
        &["pitch", "chord", "sounding", "context", "named"],
    ),
    (
        "naming",
        &["pitch", "chord", "sounding", "context", "named", "speller"],
    ),
    (
        "readings",
        &[
            "pitch", "chord", "function", "sounding", "context", "named", "speller",
        ],
    ),
    (
        "name_chord",
        &[
            "pitch", "chord", "sounding", "context", "named", "speller", "naming", "readings",
        ],
    ),
    (
        "progression",
        &[
            "pitch",
            "chord",
            "function",
            "sounding",
            "context",
            "named",
            "speller",
            "naming",
            "readings",
            "name_chord",
        ],
    ),
    (
        "voicing",
        &[
            "pitch",
            "chord",
            "sounding",
            "context",
            "named",
            "speller",
            "name_chord",
        ],
    ),
    (
        "standins",
        &[
            "pitch",
            "chord",
            "function",
            "sounding",
            "context",
            "named",
            "speller",
            "readings",
            "progression",
            "voicing",
        ],
    ),
];

/// One path of this crate that a file names.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Use {
    /// Line in the file, from 1.
    line: usize,
    /// From the root of the crate.
    path: Vec<String>,
}

/// A file of `src`.
struct SourceFile {
    /// As it is told: `src/harmony/pitch/key.rs`.
    name: String,
    /// Its module, from the root of the crate.
    module: Vec<String>,
    uses: Vec<Use>,
}

/// What is code to the layers: no comments, and nothing from the first test module on. Lines keep their numbers.
fn code_of(text: &str) -> String {
    let without_comment = |line: &str| -> String {
        match line.find("//") {
            // in a text, as of an address, a slash follows a colon
            Some(at) if !line[..at].ends_with(':') => line[..at].to_owned(),
            _ => line.to_owned(),
        }
    };
    text.lines()
        .take_while(|line| line.trim() != "#[cfg(test)]")
        .map(without_comment)
        .collect::<Vec<_>>()
        .join("\n")
}

/// The module of a path below `src`.
fn module_of(relative: &Path) -> Vec<String> {
    let mut module: Vec<String> = relative
        .with_extension("")
        .iter()
        .map(|part| part.to_string_lossy().into_owned())
        .collect();
    module.pop_if(|last| last == "mod");
    module
}

/// All paths of this crate in `code` of the file `module`, those of `use` statements and those that stand in the middle of the code.
fn uses_in(code: &str, module: &[String]) -> Vec<Use> {
    let mut uses = Vec::new();
    let is_part = |c: char| c.is_alphanumeric() || c == '_';
    for start in ["crate", "super"] {
        for (at, _) in code.match_indices(start) {
            let before = code[..at].chars().next_back();
            let rest = &code[at + start.len()..];
            // `pub(crate)` and `pub(super)` name no path, `super::super` is read from its beginning
            if before.is_some_and(|c| is_part(c) || c == ':' || c == '$') || !rest.starts_with("::")
            {
                continue;
            }
            let mut base = Vec::new();
            if start == "super" {
                base.extend_from_slice(&module[..module.len().saturating_sub(1)]);
            }
            read_tree(code, at + start.len() + 2, base, &mut uses);
        }
    }
    uses
}

/// Reads `a::b`, or `a::{b, c::d}`, from `at` on; gives the place after it.
fn read_tree(code: &str, mut at: usize, mut path: Vec<String>, uses: &mut Vec<Use>) -> usize {
    loop {
        at += code[at..].len() - code[at..].trim_start().len();
        if code[at..].starts_with('{') {
            at += 1;
            loop {
                at += code[at..].len() - code[at..].trim_start_matches([',', ' ', '\n']).len();
                if at >= code.len() || code[at..].starts_with('}') {
                    return at + 1;
                }
                let next = read_tree(code, at, path.clone(), uses);
                // `as _` and the like, up to the next comma
                let rest = &code[next.min(code.len())..];
                at = (next + rest.find([',', '}']).unwrap_or(rest.len())).min(code.len());
            }
        }
        let rest = &code[at..];
        let length = rest
            .find(|c: char| !c.is_alphanumeric() && c != '_')
            .unwrap_or(rest.len());
        match &rest[..length] {
            "" | "self" => {}
            "super" => drop(path.pop()),
            part => path.push(part.to_owned()),
        }
        at += length;
        if !code[at..].starts_with("::") {
            let line = code[..at].matches('\n').count() + 1;
            uses.push(Use { line, path });
            return at;
        }
        at += 2;
    }
}

/// What is wrong with the imports between the modules of `layers`, which stand below the module `within` (empty is the crate).
fn violations(files: &[SourceFile], within: &[&str], layers: &[Layer]) -> Vec<String> {
    let depth = within.len();
    let starts = |path: &[String]| {
        path.iter()
            .map(String::as_str)
            .take(depth)
            .eq(within.iter().copied())
    };
    let known = |name: &str| layers.iter().find(|(layer, _)| *layer == name);
    let told = |name: &str| [within, &[name]].concat().join("::");
    let mut wrong = Vec::new();
    for file in files {
        let Some(own) = file.module.get(depth).filter(|_| starts(&file.module)) else {
            continue;
        };
        let Some((_, may_use)) = known(own) else {
            wrong.push(format!(
                "{}:1: {} stands in no table; give it a row in tests/layers.rs, below all that it uses",
                file.name,
                told(own)
            ));
            continue;
        };
        for Use { line, path } in file.uses.iter().filter(|used| starts(&used.path)) {
            let Some(target) = path.get(depth) else {
                continue;
            };
            if target == own || may_use.contains(&target.as_str()) {
                continue;
            }
            let what = match known(target) {
                Some(_) => format!(
                    "{} may not use {}; move what both need into a module that stands above both, or hand it in from below; \
                     if the layers themselves are to change, change the table in tests/layers.rs, src/lib.rs and DEVELOPERS.md",
                    told(own),
                    told(target)
                ),
                None if within.is_empty() => {
                    format!(
                        "{own} uses {target}, which is no module of the table in tests/layers.rs"
                    )
                }
                None => format!(
                    "{} takes {target} from the front door of {}; take it from the file that has it",
                    told(own),
                    within.join("::")
                ),
            };
            wrong.push(format!("{}:{line}: {what}", file.name));
        }
    }
    wrong
}

/// Every file below `src` but the two roots.
fn source_files() -> Vec<SourceFile> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let (mut folders, mut files): (Vec<PathBuf>, Vec<PathBuf>) = (vec![root.clone()], Vec::new());
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("src can be listed") {
            let path = entry.expect("src can be listed").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                files.push(path);
            }
        }
    }
    files.sort();
    files
        .into_iter()
        .filter_map(|path| {
            let relative = path.strip_prefix(&root).expect("it lies below src");
            if [Path::new("lib.rs"), Path::new("main.rs")].contains(&relative) {
                return None;
            }
            let module = module_of(relative);
            let text = fs::read_to_string(&path).expect("a source file can be read");
            Some(SourceFile {
                name: format!("src/{}", relative.display()),
                uses: uses_in(&code_of(&text), &module),
                module,
            })
        })
        .collect()
}

/// A made-up file, for the tests of this test.
fn made_up(name: &str, text: &str) -> SourceFile {
    let module = module_of(Path::new(name.trim_start_matches("src/")));
    SourceFile {
        name: name.to_owned(),
        uses: uses_in(&code_of(text), &module),
        module,
    }
}

fn lines(wrong: &[String]) -> String {
    wrong.iter().fold(String::new(), |mut all, sentence| {
        let _ = writeln!(all, "{sentence}");
        all
    })
}

#[test]
fn modules_use_only_those_above_them() {
    let wrong = violations(&source_files(), &[], MODULES);
    assert!(wrong.is_empty(), "\n{}", lines(&wrong));
}

#[test]
fn rooms_of_harmony_use_only_those_above_them() {
    let wrong = violations(&source_files(), &["harmony"], HARMONY);
    assert!(wrong.is_empty(), "\n{}", lines(&wrong));
}

#[test]
fn the_tables_allow_no_circle_and_hold_what_there_is() {
    let files = source_files();
    for (within, layers) in [(&[][..], MODULES), (&["harmony"][..], HARMONY)] {
        for (place, (name, may_use)) in layers.iter().enumerate() {
            for used in *may_use {
                assert!(
                    layers[..place].iter().any(|(above, _)| above == used),
                    "{name} may use {used}, which does not stand above it"
                );
            }
            let exists = files.iter().any(|file| {
                let path = [within, &[*name]].concat();
                file.module
                    .iter()
                    .map(String::as_str)
                    .take(path.len())
                    .eq(path.iter().copied())
            });
            assert!(exists, "{name} is in the table and not in src");
        }
    }
}

#[test]
fn lib_rs_and_the_guide_state_the_same_order() {
    let names: Vec<&str> = MODULES.iter().map(|(name, _)| *name).collect();
    let lib = include_str!("../src/lib.rs");
    let declared: Vec<&str> = lib
        .lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        .collect();
    assert_eq!(declared, names, "the order of src/lib.rs");
    let guide = include_str!("../DEVELOPERS.md");
    let rows: Vec<&str> = guide
        .lines()
        .skip_while(|line| *line != "## The layers")
        .skip(1)
        .take_while(|line| !line.starts_with("## "))
        .filter_map(|line| line.strip_prefix("| `")?.split('`').next())
        .collect();
    assert_eq!(rows, names, "the table of DEVELOPERS.md, \"The layers\"");
}

#[test]
fn a_forbidden_import_is_found_with_its_line() {
    let text = "//! Keys.\n\nuse crate::units::{\n    Hertz,\n    MidiNote,\n};\nuse std::fmt;\n\nfn width() -> u16 {\n    \
                crate::view::ink::Ink::default().columns\n}\n";
    let wrong = violations(&[made_up("src/spectrum/window.rs", text)], &[], MODULES);
    assert_eq!(wrong.len(), 1, "{wrong:?}");
    assert!(
        wrong[0].starts_with("src/spectrum/window.rs:10: spectrum may not use view; move"),
        "{}",
        wrong[0]
    );
}

#[test]
fn groups_and_super_are_seen_through() {
    let text = "use super::super::{\n    chart::{\n        document::Recording,\n        entries as lines,\n    },\n    units::Hertz,\n};\n";
    let wrong = violations(&[made_up("src/notes/tracks.rs", text)], &[], MODULES);
    let places: Vec<&str> = wrong
        .iter()
        .filter_map(|told| told.split(" may").next())
        .collect();
    assert_eq!(
        places,
        [
            "src/notes/tracks.rs:3: notes",
            "src/notes/tracks.rs:4: notes"
        ]
    );
}

#[test]
fn rooms_of_harmony_are_told_apart_and_its_front_door_is_for_others() {
    let text = "use super::class::PitchClass;\nuse crate::harmony::chord::Chord;\nuse crate::harmony::Degree;\n";
    let wrong = violations(
        &[made_up("src/harmony/pitch/key.rs", text)],
        &["harmony"],
        HARMONY,
    );
    assert_eq!(wrong.len(), 2, "{wrong:?}");
    assert!(
        wrong[0].contains(":2: harmony::pitch may not use harmony::chord;"),
        "{}",
        wrong[0]
    );
    assert!(
        wrong[1].contains(":3: harmony::pitch takes Degree from the front door"),
        "{}",
        wrong[1]
    );
}

#[test]
fn comments_and_tests_are_free() {
    let text = "//! See [`crate::cli`].\npub(crate) fn f() {} // as crate::view does\n\n#[cfg(test)]\nmod tests {\n    use crate::cli::main;\n}\n";
    assert_eq!(
        violations(&[made_up("src/units.rs", text)], &[], MODULES),
        [""; 0]
    );
}

#[test]
fn a_module_without_a_row_is_told() {
    let wrong = violations(&[made_up("src/gadgets/mod.rs", "")], &[], MODULES);
    let told: BTreeSet<&str> = wrong.iter().map(String::as_str).collect();
    assert!(
        told.iter()
            .any(|told| told.contains("gadgets stands in no table")),
        "{told:?}"
    );
}
