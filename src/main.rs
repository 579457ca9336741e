//! The command line of Concordant.

use std::process::ExitCode;

fn main() -> ExitCode {
    concordant::commands::run()
}
