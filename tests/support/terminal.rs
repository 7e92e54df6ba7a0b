//! A real terminal for tests, by tmux.

use super::sound_server::SoundServer;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// How long anything may take that takes a fraction of a second on an idle machine.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// A terminal of its own, by tmux; gone at the end of the test.
pub struct Terminal<'a> {
    server: &'a SoundServer,
    name: String,
}

impl<'a> Terminal<'a> {
    /// Opens a terminal with a shell in it, or says loudly that the test is skipped.
    pub fn open_or_skip(server: &'a SoundServer, columns: u16, rows: u16) -> Option<Self> {
        if Command::new("tmux")
            .arg("-V")
            .stdout(Stdio::null())
            .status()
            .is_err()
        {
            assert_ne!(
                std::env::var("CI").as_deref(),
                Ok("true"),
                "CI must have tmux"
            );
            eprintln!("SKIPPED: no tmux for a test in a real terminal");
            return None;
        }
        let name = format!("lidprop-test-{}-{columns}", std::process::id());
        let terminal = Self { server, name };
        let size = [columns.to_string(), rows.to_string()];
        terminal.tmux(&[
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            &size[0],
            "-y",
            &size[1],
            "env PS1='ready> ' sh",
        ]);
        Some(terminal)
    }

    /// Runs a command of tmux; gives what it says.
    pub fn tmux(&self, arguments: &[&str]) -> String {
        let mut command = Command::new("tmux");
        self.server.apply(&mut command);
        let output = command
            .env("LC_ALL", "C.UTF-8")
            .args(["-u", "-L", &self.name])
            .args(arguments)
            .stdin(Stdio::null())
            .output()
            .expect("tmux runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    /// Types.
    pub fn keys(&self, keys: &[&str]) {
        self.tmux(&[&["send-keys"][..], keys].concat());
    }

    /// Waits until the screen holds `words`; gives the screen.
    #[track_caller]
    pub fn shows(&self, words: &str) -> String {
        let start = Instant::now();
        loop {
            let screen = self.tmux(&["capture-pane", "-p"]);
            if screen.contains(words) {
                return screen;
            }
            assert!(start.elapsed() < PATIENCE, "no '{words}' in\n{screen}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Terminal<'_> {
    fn drop(&mut self) {
        self.tmux(&["kill-server"]);
    }
}
