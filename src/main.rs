//! Parses, calls, prints the error and sets the exit code.

fn main() -> std::process::ExitCode {
    lidprop::cli::main()
}
