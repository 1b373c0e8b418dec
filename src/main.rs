//! Parses arguments, calls the library, prints the error chain, picks the exit code.

use std::process::ExitCode;

use clap::Parser;
use tugback::commands::{self, Cli};

fn main() -> ExitCode {
    let cli = Cli::parse();
    tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("TUGBACK_LOG").unwrap_or_else(|_| "warn".into()),
        )
        .without_time()
        .with_target(false)
        .log_internal_errors(false) // where stderr is closed, nobody reads that either
        .init();
    match commands::run(cli) {
        Ok(done) => done.into(),
        Err(report) => {
            commands::print_error(&report);
            commands::Done::CouldNot.into()
        }
    }
}
