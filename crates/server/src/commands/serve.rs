//! `stillroom serve`: the API, for those who hold a token.

use std::net::SocketAddr;

use crate::{
    cli::ServeArgs,
    demo,
    failure::{Failure, Outcome},
    house::{self, Layout},
    http::{self, Access},
    settings::Settings,
};

/// Serves until asked to stop.
///
/// # Errors
/// [`Failure`], with the way out, when nobody could or everybody might come in.
pub async fn run(settings: &Settings, args: &ServeArgs) -> Result<Outcome, Failure> {
    let house = house::open(settings, Layout::BringUpToDate).await?;
    let address = args.listen.listen;
    let access = if args.open_demo {
        open_demo(address, demo::is_loaded(&house.store).await?)?
    } else if house.app.has_tokens().await? {
        Access::Tokens
    } else {
        return Err(Failure::usage(
            "serve",
            "nobody could come in: this database has no token that works. Make one with `stillroom token create --name NAME \
             --may look,plan-and-make`; to look around with invented data, run `stillroom demo`",
        ));
    };
    let listener = http::listen(address).await?;
    http::serve(listener, house.store, house.app, access).await?;
    Ok(Outcome::Done)
}

/// Open access is for invented data on this machine, and nothing else.
fn open_demo(address: SocketAddr, holds_demo: bool) -> Result<Access, Failure> {
    if !address.ip().is_loopback() {
        return Err(Failure::usage(
            "--open-demo",
            format!(
                "{address} can be reached from other machines; open access is for 127.0.0.1 or [::1] only"
            ),
        ));
    }
    if !holds_demo {
        return Err(Failure::usage(
            "--open-demo",
            "this database does not hold the demo, so it is not opened to everybody; `stillroom demo` makes one that does",
        ));
    }
    Ok(Access::OpenDemo)
}

/// Whether open access may be given on an address.
///
/// # Errors
/// [`Failure::Usage`] on an address other machines can reach.
pub fn open_on(address: SocketAddr) -> Result<Access, Failure> {
    open_demo(address, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn open_access_is_for_the_demo_on_this_machine() {
        let loopback = "127.0.0.1:7310".parse().unwrap();
        assert_eq!(open_demo(loopback, true).unwrap(), Access::OpenDemo);
        assert_eq!(open_demo("[::1]:7310".parse().unwrap(), true).unwrap(), Access::OpenDemo);
        assert!(open_demo(loopback, false).is_err());
        assert!(open_demo("0.0.0.0:7310".parse().unwrap(), true).is_err());
        assert!(open_demo("192.168.0.7:7310".parse().unwrap(), true).is_err());
    }
}
