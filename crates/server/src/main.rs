//! The `stillroom` binary. Everything it does is in the library beside it, so that it can be tested without a process.

use std::process::ExitCode;

#[tokio::main]
async fn main() -> ExitCode {
    ExitCode::from(server::run(std::env::args_os()).await)
}
