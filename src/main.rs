//! The program: hands the command line to the library and ends with its exit code.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    let filter = tracing_subscriber::EnvFilter::try_from_env("ROUNDEL_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn,roundel=info,diesel_migrations=warn"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).with_target(false).init();
    roundel::cli::run(roundel::cli::CommandLine::parse())
}
