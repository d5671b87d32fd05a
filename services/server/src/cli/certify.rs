//! `rimebook certify`: the certificate for HTTPS, and what is said of it.

use std::{
    io::{self, Write},
    path::PathBuf,
};

use shared_types::{Instant, Stamp};

use super::whole;
use crate::tls::{self, Certified, Host};

#[derive(clap::Args)]
pub(super) struct Certify {
    /// The data folder
    #[arg(long, value_name = "DIR")]
    data: PathBuf,
    /// What handhelds call the server: a name or a private address. May stand several times; a new authority vouches for
    /// these names alone
    #[arg(long, value_name = "NAME", required = true, num_args = 1..)]
    host: Vec<Host>,
    /// Make a new authority in place of the one there is: every device has to be told of it
    #[arg(long)]
    new_authority: bool,
}

/// True if there is a certificate.
pub(super) fn run(asked: &Certify, now: Instant, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let Certify { data, host, new_authority } = asked;
    if !data.join("journal").is_dir() {
        writeln!(err, "{} is no data folder: it has no folder named journal; serve it once first", data.display())?;
        return Ok(false);
    }
    let Certified { fingerprint, is_new, hosts, ends } = match tls::certify(data, host, *new_authority, now) {
        Ok(certified) => certified,
        Err(error) => {
            writeln!(err, "there is no certificate: {}", whole(&error))?;
            return Ok(false);
        }
    };
    let people = data.join("people");
    writeln!(out, "The certificate is for {}, until {}.", hosts.join(", "), day(ends))?;
    match is_new {
        true => writeln!(out, "The authority behind it is new. Every device is told to believe it once:")?,
        false => writeln!(out, "The authority behind it is the one that devices know:")?,
    }
    writeln!(out, "  {}", people.join(tls::AUTHORITY).display())?;
    writeln!(out, "  SHA-256 {fingerprint}")?;
    writeln!(
        out,
        "Compare these digits on the device before it believes them; the page /authority has them on a sheet."
    )?;
    writeln!(
        out,
        "{} is in no backup: keep a copy where nobody else reads it. A server that is running takes the new certificate by \
         itself.",
        people.join(tls::AUTHORITY_KEY).display()
    )?;
    Ok(true)
}

/// `2027-12-29`.
pub(super) fn day(at: Instant) -> String {
    Stamp::utc(at).to_string().chars().take(10).collect()
}
