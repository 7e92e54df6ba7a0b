//! A real sound server with a virtual input, private to one test: what is played into it arrives at its microphone.
//!
//! Needs `pulseaudio`, `paplay`, `pactl` (Debian: pulseaudio, pulseaudio-utils) and the ALSA plugin for it
//! (libasound2-plugins). All its files lie in a folder of its own; it ends when the value is dropped.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The virtual output; its monitor is the microphone.
const SINK: &str = "stage";

/// How long the server may take to answer.
const START_LIMIT: Duration = Duration::from_secs(10);

/// Where the sound server's ALSA plugin may lie; without it programs cannot record from the server.
const PLUGIN: &str = "alsa-lib/libasound_module_pcm_pulse.so";

/// A running sound server.
pub struct SoundServer {
    folder: tempfile::TempDir,
    server: Child,
    sink_module: String,
}

impl SoundServer {
    /// Starts a server, or says loudly that the test is skipped; where `CI=true` that is a failure.
    pub fn start_or_skip() -> Option<Self> {
        match Self::start() {
            Ok(server) => Some(server),
            Err(why) if std::env::var("CI").as_deref() == Ok("true") => {
                panic!("no sound server, and CI must have one: {why}")
            }
            Err(why) => {
                eprintln!("SKIPPED: no sound server for this test: {why}");
                None
            }
        }
    }

    /// Starts a server with a virtual input of 48 kHz stereo.
    pub fn start() -> Result<Self, String> {
        for program in ["pulseaudio", "paplay", "pactl"] {
            let found = Command::new(program)
                .arg("--version")
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status();
            found.map_err(|e| {
                format!("{program} cannot be run ({e}); install pulseaudio and pulseaudio-utils")
            })?;
        }
        let plugin = [
            "/usr/lib/x86_64-linux-gnu",
            "/usr/lib/aarch64-linux-gnu",
            "/usr/lib",
            "/usr/lib64",
        ];
        if !plugin
            .iter()
            .any(|folder| Path::new(folder).join(PLUGIN).exists())
        {
            return Err(
                "the ALSA plugin for the sound server is missing; install libasound2-plugins"
                    .into(),
            );
        }
        let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
        let root = folder.path();
        std::fs::create_dir_all(root.join("pulse")).map_err(|e| e.to_string())?;
        let alsa = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n";
        std::fs::write(root.join("asound.conf"), alsa).map_err(|e| e.to_string())?;
        let mut command = Command::new("pulseaudio");
        set_environment(&mut command, root);
        let server = command
            .args([
                "-n",
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--use-pid-file=no",
                "--disable-shm=yes",
                "--log-target=stderr",
            ])
            .arg(format!(
                "--load=module-native-protocol-unix auth-anonymous=1 socket={}",
                socket(root).display()
            ))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map_err(|e| e.to_string())?;
        let mut this = Self {
            folder,
            server,
            sink_module: String::new(),
        };
        let start = Instant::now();
        while this.control(&["info"]).is_err() {
            if start.elapsed() > START_LIMIT {
                return Err("the sound server does not answer".into());
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        this.plug_in()?;
        Ok(this)
    }

    /// Plugs the virtual input in (again).
    pub fn plug_in(&mut self) -> Result<(), String> {
        self.plug_in_as(48_000, 2)
    }

    /// The same with another rate and other channels. Without `norewinds` it would deliver in lumps of two seconds.
    pub fn plug_in_as(&mut self, rate: u32, channels: usize) -> Result<(), String> {
        self.sink_module = self.control(&[
            "load-module",
            "module-null-sink",
            &format!("sink_name={SINK}"),
            &format!("rate={rate}"),
            &format!("channels={channels}"),
            "norewinds=1",
        ])?;
        Ok(())
    }

    /// Pulls the virtual input out while it runs.
    pub fn unplug(&mut self) {
        self.control(&["unload-module", &self.sink_module])
            .expect("the input was plugged in");
    }

    /// Plugs a microphone in that hears what is played into the virtual input, under a name of its own and one for people; gives what [`Self::take_out`]
    /// needs.
    pub fn plug_in_microphone(&self, name: &str, description: &str) -> String {
        let master = format!("master={SINK}.monitor");
        let name = format!("source_name={name}");
        let words = description.replace(' ', "\\ ");
        let described = format!("source_properties=device.description=\"{words}\"");
        self.control(&[
            "load-module",
            "module-remap-source",
            &master,
            &name,
            &described,
        ])
        .expect("the server takes one more microphone")
    }

    /// Pulls a microphone out.
    pub fn take_out(&self, microphone: &str) {
        self.control(&["unload-module", microphone])
            .expect("it was plugged in");
    }

    /// The environment in which a program finds this server and its virtual input as the default one.
    pub fn environment(&self) -> Vec<(&'static str, PathBuf)> {
        environment(self.folder.path())
    }

    /// Lets `command` use this server.
    pub fn apply(&self, command: &mut Command) {
        set_environment(command, self.folder.path());
    }

    /// The number of its process.
    pub fn process(&self) -> u32 {
        self.server.id()
    }

    /// Starts playing a WAV or FLAC file into the virtual input.
    pub fn play(&self, file: &Path) -> Child {
        let mut command = Command::new("paplay");
        self.apply(&mut command);
        command
            .arg("--latency-msec=20")
            .arg(file)
            .stdin(Stdio::null())
            .spawn()
            .expect("paplay runs")
    }

    fn control(&self, arguments: &[&str]) -> Result<String, String> {
        let mut command = Command::new("pactl");
        self.apply(&mut command);
        let output = command
            .args(arguments)
            .stdin(Stdio::null())
            .output()
            .map_err(|e| e.to_string())?;
        if output.status.success() {
            Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
        } else {
            Err(String::from_utf8_lossy(&output.stderr).trim().to_owned())
        }
    }
}

impl Drop for SoundServer {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

fn socket(root: &Path) -> PathBuf {
    root.join("pulse").join("native")
}

fn environment(root: &Path) -> Vec<(&'static str, PathBuf)> {
    vec![
        ("HOME", root.to_owned()),
        ("XDG_RUNTIME_DIR", root.to_owned()),
        ("PULSE_RUNTIME_PATH", root.join("pulse")),
        ("PULSE_STATE_PATH", root.join("state")),
        (
            "PULSE_SERVER",
            PathBuf::from(format!("unix:{}", socket(root).display())),
        ),
        ("PULSE_SINK", PathBuf::from(SINK)),
        ("PULSE_SOURCE", PathBuf::from(format!("{SINK}.monitor"))),
        ("ALSA_CONFIG_PATH", root.join("asound.conf")),
    ]
}

fn set_environment(command: &mut Command, root: &Path) {
    command
        .envs(environment(root))
        .env_remove("DBUS_SESSION_BUS_ADDRESS")
        .env_remove("DISPLAY");
}
