//! Stub: see design.

/// Runs the command line.
pub fn main() -> std::process::ExitCode {
    std::process::ExitCode::SUCCESS
}
