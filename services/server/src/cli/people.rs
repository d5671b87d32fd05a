//! The code that sets a yard up: told at a start, and made anew beside a stopped server.

use super::whole;
use crate::{
    http,
    journal::RealDisk,
    yard::{Options, Yard},
};
use shared_types::{BesideServer, BodyKind, DoneBeside};
use std::{
    io::{self, IsTerminal, Write},
    path::Path,
    sync::Arc,
};

/// Until somebody has used it, each start tells a new code: on the terminal, or in a file that only this user can read. What a
/// service prints may be read by many, so it is never printed there.
pub(super) fn tell_code(yard: &Yard, err: &mut dyn Write) -> io::Result<()> {
    let people = &yard.people;
    if people.is_set_up() {
        if !http::has_administrator(yard) && !people.awaits_set_up() {
            writeln!(
                err,
                "No administrator can sign in here: what is kept in people/ knows none. Stop this server and run `rimebook people reset`."
            )?;
        }
        return Ok(());
    }
    let code = people.new_set_up_code().map_err(io::Error::other)?;
    match io::stderr().is_terminal() {
        true => {
            writeln!(err, "Nobody signs in yet. Whoever opens /set-up with this code becomes the administrator: {code}")
        }
        false => {
            let path = people.leave_code(&code)?;
            writeln!(err, "Nobody signs in yet. The code for /set-up is in {}", path.display())
        }
    }
}

/// Makes a set-up code for whoever lost every other way in. True if it waits to be used.
pub(super) fn reset(data: &Path, options: Options, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    if !data.join("journal").is_dir() {
        writeln!(err, "{} is no data folder: it has no folder named journal", data.display())?;
        return Ok(false);
    }
    // Opened as a server opens it, so that none is at work meanwhile.
    let done = DoneBeside { what: BesideServer::SetUpCode, seen: None };
    let yard = match beside(data, options, done) {
        Ok(yard) => yard,
        Err(why) => {
            writeln!(err, "No code was made: {why}")?;
            return Ok(false);
        }
    };
    let made = yard.people.reset();
    yard.close();
    match made {
        Ok(code) => {
            writeln!(out, "Start the server, open /set-up and type this code, once: {code}")?;
            writeln!(
                out,
                "It makes an administrator. The log says that it was asked for, and will say who used it; everybody else's sign-in"
            )?;
            writeln!(out, "stays as it is.")?;
            Ok(true)
        }
        Err(error) => {
            writeln!(err, "No code was made: {}", whole(&error))?;
            Ok(false)
        }
    }
}

/// Opens a folder that no server has, and has its log say what is done here; or why that can't be said.
pub(super) fn beside(data: &Path, options: Options, done: DoneBeside) -> Result<Yard, String> {
    let options = Options { archive: false, disk: Arc::new(RealDisk), beside: Some(done), ..options };
    let yard =
        Yard::open(data, options).map_err(|error| format!("{} can't be opened: {}", data.display(), whole(&error)))?;
    let last = yard.read().last_seq();
    let said = u32::try_from(last).ok().and_then(|last| yard.read().entry(last).map(|entry| entry.of));
    match said == Some(BodyKind::DoneBeside) {
        true => Ok(yard),
        false => {
            yard.close();
            Err("the log can't say so, because nothing can be written to it. Make room on its disk first.".to_owned())
        }
    }
}
