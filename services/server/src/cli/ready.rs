//! Does a server take entries? Asked by whatever looks after it, with the program itself.

use super::{DONE, NOT_DONE, NOT_MEANT, rest::Rest};
use serde::Deserialize;
use std::io::{self, Write};

#[derive(clap::Args)]
pub(super) struct Ready {
    /// The server that is asked
    #[arg(long, value_name = "URL", env = "RIMEBOOK_SERVER", default_value = "http://127.0.0.1:8787")]
    server: String,
}

#[derive(Deserialize)]
struct Health {
    last_seq: u64,
    #[serde(default)]
    alarms: Vec<String>,
}

/// Exit code 0 while it takes entries, 1 with the reason otherwise; what somebody has to see to is printed either way.
pub(super) fn run(asked: &Ready, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    let answer = Rest::new(&asked.server, None).and_then(|rest| rest.get("/readyz"));
    match answer.map(|body| serde_json::from_slice::<Health>(&body)) {
        Ok(Ok(Health { last_seq, alarms })) => {
            writeln!(out, "It takes entries; the last one is {last_seq}.")?;
            alarms.iter().try_for_each(|alarm| writeln!(out, "{alarm}"))?;
            Ok(DONE)
        }
        Ok(Err(_)) => {
            writeln!(err, "{} answered as no rimebook does. Look at --server.", asked.server)?;
            Ok(NOT_DONE)
        }
        Err(why) => {
            writeln!(err, "{}", why.say)?;
            Ok(if why.ask_otherwise { NOT_MEANT } else { NOT_DONE })
        }
    }
}
