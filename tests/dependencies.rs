//! The libraries that lidprop is made of: their licences, where they come from, each in one version, and none that reaches a network.
//!
//! The rules stand in `deny.toml`; `make lint` asks cargo-deny where it is installed, and this test reads the same file everywhere.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::Command;

/// What cargo knows of all libraries, as resolved for this system with all features.
fn metadata() -> Value {
    let output = Command::new(env!("CARGO"))
        .args([
            "metadata",
            "--locked",
            "--offline",
            "--all-features",
            "--format-version",
            "1",
        ])
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

fn rules() -> toml::Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("deny.toml");
    fs::read_to_string(path).unwrap().parse().unwrap()
}

/// The words of a list in `deny.toml`.
fn list(rules: &toml::Table, table: &str, name: &str) -> BTreeSet<String> {
    let list = rules[table][name].as_array().unwrap();
    list.iter()
        .map(|entry| {
            entry
                .get("crate")
                .unwrap_or(entry)
                .as_str()
                .unwrap()
                .to_owned()
        })
        .collect()
}

fn text<'a>(value: &'a Value, field: &str) -> &'a str {
    value[field].as_str().unwrap_or("")
}

/// The packages that go into the program on this system, or build it; those of tests alone do not.
fn packages(metadata: &Value) -> Vec<&Value> {
    let nodes = metadata["resolve"]["nodes"].as_array().unwrap();
    let mut used = BTreeSet::new();
    let mut waiting = vec![text(&metadata["resolve"], "root")];
    while let Some(id) = waiting.pop() {
        if used.insert(id) {
            let node = nodes.iter().find(|node| node["id"] == id).unwrap();
            let needed = node["deps"].as_array().unwrap().iter();
            let shipped = needed.filter(|needed| {
                let kinds = needed["dep_kinds"].as_array().unwrap();
                kinds.iter().any(|kind| kind["kind"] != "dev")
            });
            waiting.extend(shipped.map(|needed| text(needed, "pkg")));
        }
    }
    let packages = metadata["packages"].as_array().unwrap();
    packages
        .iter()
        .filter(|package| used.contains(text(package, "id")))
        .collect()
}

/// True where a licence expression (SPDX) can be satisfied with these licences.
fn satisfied(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let (value, rest) = any_of(&words, allowed);
    value && rest.is_empty()
}

fn any_of<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    let (mut value, mut rest) = all_of(words, allowed);
    while let ["OR", others @ ..] = rest {
        let (other, after) = all_of(others, allowed);
        (value, rest) = (value | other, after);
    }
    (value, rest)
}

fn all_of<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    let (mut value, mut rest) = one(words, allowed);
    while let ["AND", others @ ..] = rest {
        let (other, after) = one(others, allowed);
        (value, rest) = (value & other, after);
    }
    (value, rest)
}

fn one<'a>(words: &'a [&'a str], allowed: &BTreeSet<String>) -> (bool, &'a [&'a str]) {
    match words {
        ["(", inner @ ..] => match any_of(inner, allowed) {
            (value, [")", rest @ ..]) => (value, rest),
            (_, rest) => (false, rest),
        },
        // An exception only ever permits more.
        [licence, "WITH", _, rest @ ..] | [licence, rest @ ..] => {
            (allowed.contains(*licence), rest)
        }
        [] => (false, words),
    }
}

#[test]
fn licence_expressions_are_read_as_the_standard_has_them() {
    let allowed = BTreeSet::from(["MIT".to_owned(), "Zlib".to_owned()]);
    for (expression, expected) in [
        ("MIT", true),
        ("GPL-3.0", false),
        ("MIT OR GPL-3.0", true),
        ("MIT/Apache-2.0", true),
        ("MIT AND GPL-3.0", false),
        ("GPL-3.0 OR MIT AND Zlib", true),
        ("(GPL-3.0 OR MIT) AND Zlib", true),
        ("(GPL-3.0 OR MIT) AND BSD-2-Clause", false),
        ("Apache-2.0 WITH LLVM-exception OR MIT", true),
        ("(MIT", false),
        ("", false),
    ] {
        assert_eq!(satisfied(expression, &allowed), expected, "{expression}");
    }
}

#[test]
fn every_library_has_a_licence_that_is_allowed() {
    let (metadata, rules) = (metadata(), rules());
    let allowed = list(&rules, "licenses", "allow");
    let packages = packages(&metadata);
    assert!(packages.len() > 50, "the tree is there");
    let refused = packages
        .iter()
        .filter(|package| !satisfied(text(package, "license"), &allowed));
    let refused: Vec<String> = refused
        .map(|package| format!("{}: {}", text(package, "name"), text(package, "license")))
        .collect();
    assert!(
        refused.is_empty(),
        "add to deny.toml or do without: {refused:#?}"
    );
}

#[test]
fn every_library_comes_from_the_registry_by_a_stated_version() {
    let metadata = metadata();
    for package in packages(&metadata) {
        let own = text(package, "name") == "lidprop";
        let source = text(package, "source");
        assert!(
            own || source.starts_with("registry+"),
            "{}: {source}",
            text(package, "name")
        );
        if own {
            for needed in package["dependencies"].as_array().unwrap() {
                assert_ne!(
                    text(needed, "req"),
                    "*",
                    "{} needs a version",
                    text(needed, "name")
                );
            }
        }
    }
}

#[test]
fn no_library_is_there_twice_without_a_reason() {
    let (metadata, rules) = (metadata(), rules());
    let excused = list(&rules, "bans", "skip");
    let mut versions: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for package in packages(&metadata) {
        let (name, version) = (text(package, "name"), text(package, "version"));
        let is_excused = excused.iter().any(|excused| {
            excused.split_once('@').is_some_and(|(excused, begins)| {
                excused == name && version.starts_with(&format!("{begins}."))
            })
        });
        if !is_excused {
            versions.entry(name).or_default().push(version);
        }
    }
    versions.retain(|_, versions| versions.len() > 1);
    assert!(versions.is_empty(), "{versions:#?}");
}

/// Built with sockets because signal-hook-mio passes the signals of a terminal through a pair of local ones, and pulseaudio asks a server of this machine.
const LOCAL_PAIR: &str = "mio";

#[test]
fn nothing_reaches_a_network() {
    let (metadata, rules) = (metadata(), rules());
    let denied = list(&rules, "bans", "deny");
    let nodes = metadata["resolve"]["nodes"].as_array().unwrap();
    for package in packages(&metadata) {
        let name = text(package, "name");
        assert!(!denied.contains(name), "{name} speaks to the network");
        // Interfaces to the system that have sockets only where they are asked for.
        let node = nodes
            .iter()
            .find(|node| node["id"] == package["id"])
            .unwrap();
        let features = node["features"].as_array().unwrap();
        if name == LOCAL_PAIR {
            continue;
        }
        for socket in ["net", "socket", "tcp", "udp"] {
            assert!(
                !features.iter().any(|feature| feature == socket),
                "{name} is built with '{socket}'"
            );
        }
    }
}

/// The one folder that opens one, and it is a file of this machine: the sound server is asked for its microphones, and for what they hear.
const LOCAL_SOCKET: (&str, &str) = ("src/audio/capture/server", "UnixStream");

#[test]
fn no_source_of_our_own_opens_a_socket_but_that_of_the_sound_server() {
    fn look(folder: &Path, read: &mut usize) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                look(&path, read);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                for word in [
                    "std::net",
                    "TcpStream",
                    "TcpListener",
                    "UdpSocket",
                    "ToSocketAddrs",
                    "UnixStream",
                    "UnixListener",
                ] {
                    let (folder, allowed) = LOCAL_SOCKET;
                    let may = word == allowed && path.parent().is_some_and(|p| p.ends_with(folder));
                    assert!(may || !text.contains(word), "{}: {word}", path.display());
                }
                *read += 1;
            }
        }
    }
    let mut read = 0;
    look(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut read,
    );
    assert!(read > 100, "{read} files");
}
