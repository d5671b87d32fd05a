//! May a part be installed? Asked as the other acts are, answered by an operation of its own.

use super::{Ask, Ended, not_meant, read};
use crate::{
    cli::{
        DONE, NOT_YES,
        rest::Rest,
        tables::{foot, wrapped},
    },
    http::{in_a_path, in_a_query},
};
use shared_types::{Kind, MayInstall, ThingName, Word};
use std::io::Write;

pub(super) fn may_install(rest: &Rest, part: &ThingName, asked: &Ask, out: &mut dyn Write) -> Result<u8, Ended> {
    if part.kind() != Kind::Part {
        return Err(not_meant(format!("{part} is no part; only parts are installed.")).into());
    }
    if asked.job.is_some() || asked.stage.is_some() {
        return Err(not_meant("A part is installed whole, for no job: leave out --job and --stage.".to_owned()).into());
    }
    let boat = asked.boat.as_ref().map_or(String::new(), |boat| format!("&boat={}", in_a_query(boat)));
    let query = format!("{boat}{}", asked.when.query()).replacen('&', "?", 1);
    let body = rest.get(&format!("/api/v1/things/{}/may-install{query}", in_a_path(part)))?;
    let answer: MayInstall = read(&body)?;
    let code = if answer.answer == Word::Yes { DONE } else { NOT_YES };
    if asked.to.json {
        out.write_all(&body)?;
        return Ok(code);
    }
    for sentence in [&answer.say].into_iter().chain(&answer.why).chain(&answer.notes) {
        wrapped(sentence, "", out)?;
    }
    foot(&answer.at, answer.as_of_seq, out)?;
    Ok(code)
}
