//! The code that sets a yard up: told at a start, and made anew beside a stopped server.

use super::whole;
use crate::{
    http,
    journal::RealDisk,
    yard::{Options, Yard},
};
use std::{
    io::{self, IsTerminal, Write},
    path::Path,
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
    let yard = match Yard::open(data, Options { archive: false, disk: std::sync::Arc::new(RealDisk), ..options }) {
        Ok(yard) => yard,
        Err(error) => {
            writeln!(err, "{} can't be opened: {}", data.display(), whole(&error))?;
            return Ok(false);
        }
    };
    let made = yard.people.reset();
    yard.close();
    match made {
        Ok(code) => {
            writeln!(out, "Start the server, open /set-up and type this code, once: {code}")?;
            writeln!(out, "It makes an administrator; the log will say so. Everybody else's sign-in stays as it is.")?;
            Ok(true)
        }
        Err(error) => {
            writeln!(err, "No code was made: {}", whole(&error))?;
            Ok(false)
        }
    }
}
