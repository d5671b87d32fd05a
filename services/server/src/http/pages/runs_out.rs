//! What runs out, soonest first: a page, its form, and the same as CSV.

use super::day::{Line, line, once, read};
use super::{answer, asked_then, assets::Assets, foot::Foot, in_a_query, page, table, table::no_formula};
use crate::http::{
    ask::AtKnown,
    problems::Fault,
    warnings::{WarningsQuery, code},
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::say::Dates;
use serde::{Deserialize, Deserializer, de::Error};
use shared_types::Code;

/// What runs out, as a form asks for it: days of out-life, weeks of shelf life.
#[derive(Deserialize, Clone, Default)]
#[serde(deny_unknown_fields)]
pub(crate) struct RunsOutForm {
    #[serde(default, deserialize_with = "count")]
    days: Option<u32>,
    #[serde(default, deserialize_with = "count")]
    weeks: Option<u32>,
    #[serde(default, deserialize_with = "code")]
    job: Option<Code>,
    #[serde(default, deserialize_with = "code")]
    material: Option<Code>,
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: Option<u64>,
}

/// Ten years of weeks, and no more days than that is.
const MOST: u32 = 520;

fn count<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u32>, D::Error> {
    let text = String::deserialize(from)?;
    match text.trim() {
        "" => Ok(None),
        text => text
            .parse()
            .ok()
            .filter(|count| *count <= MOST)
            .map(Some)
            .ok_or_else(|| D::Error::custom(format!("days and weeks are whole numbers, 0 to {MOST}"))),
    }
}

impl RunsOutForm {
    fn days(&self) -> u32 {
        self.days.unwrap_or(7)
    }

    fn weeks(&self) -> u32 {
        self.weeks.unwrap_or(8)
    }

    fn query(&self, yard: &Yard) -> Result<WarningsQuery, Fault> {
        Ok(WarningsQuery {
            within_h: Some(self.days().saturating_mul(24)),
            shelf_within_h: Some(self.weeks().saturating_mul(168)),
            job: self.job.clone(),
            material: self.material.clone(),
            at: asked_then(yard, &self.at)?,
            known: self.known,
        })
    }

    /// The same question of the list as CSV.
    fn csv(&self) -> String {
        let mut address = format!("/runs-out.csv?days={}&weeks={}", self.days(), self.weeks());
        let codes = [("job", &self.job), ("material", &self.material)];
        for (name, code) in codes.into_iter().filter_map(|(name, code)| Some((name, code.as_ref()?))) {
            address.push_str(&format!("&{name}={}", in_a_query(code.as_str())));
        }
        address.extend(Some(self.at.trim()).filter(|at| !at.is_empty()).map(|at| format!("&at={}", in_a_query(at))));
        address.extend(self.known.map(|known| format!("&known={known}")));
        address
    }
}

#[derive(Template)]
#[template(path = "runs_out.html")]
struct RunsOutPage {
    assets: Assets,
    foot: Foot,
    days: u32,
    weeks: u32,
    job: String,
    material: String,
    csv: String,
    lines: Vec<Line>,
}

#[route("/runs-out", method = "GET", method = "HEAD")]
pub(crate) async fn runs_out_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Query<RunsOutForm>,
) -> HttpResponse {
    let found = async {
        let (query, shared) = (form.query(&yard)?, yard.clone());
        let asked = AtKnown { at: query.at, known: query.known };
        let (lines, foot) = read(&yard, asked, move |book, when, say| {
            let all = domain::warnings(book, &query.question(&shared, book)?).warnings;
            Ok(once(&all).map(|one| line(say, one, when.at)).collect::<Vec<_>>())
        })
        .await?;
        let text = |code: &Option<Code>| code.as_ref().map(ToString::to_string).unwrap_or_default();
        page(
            StatusCode::OK,
            &RunsOutPage {
                assets: Assets::new(),
                foot,
                days: form.days(),
                weeks: form.weeks(),
                job: text(&form.job),
                material: text(&form.material),
                csv: form.csv(),
                lines,
            },
        )
    };
    answer(&request, found.await)
}

/// A word as the API writes it.
fn word(word: &impl serde::Serialize) -> String {
    let word = serde_json::to_value(word).ok();
    word.and_then(|word| word.as_str().map(str::to_owned)).unwrap_or_default()
}

/// The list as RFC 4180 has it, for a table of one's own: times, and no words that are only true today.
#[route("/runs-out.csv", method = "GET", method = "HEAD")]
pub(crate) async fn runs_out_csv(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Query<RunsOutForm>,
) -> HttpResponse {
    let found = async {
        let all = form.query(&yard)?.ask(&yard, Dates::Near).await?;
        let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        let head = ["act_by", "thing", "stage", "limit", "ends_at", "left_s", "materials", "jobs", "who", "act", "at"];
        let mut written = csv.write_record(head);
        for one in &all.warnings {
            let many = |codes: &[Code]| codes.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
            let row = [
                one.act_by.to_string(),
                one.thing.to_string(),
                one.stage.as_ref().map(|stage| no_formula(stage.as_str())).unwrap_or_default(),
                one.limit.map_or("", domain::say::limit).to_owned(),
                one.ends_at.to_string(),
                one.left_s.to_string(),
                no_formula(&many(&one.materials)),
                no_formula(&many(&one.jobs)),
                word(&one.who),
                word(&one.act),
                all.at.to_string(),
            ];
            written = written.and_then(|()| csv.write_record(row));
        }
        let bytes = written.ok().and_then(|()| csv.into_inner().ok());
        let bytes = bytes.ok_or_else(|| Fault::went_wrong("The list could not be written down."))?;
        Ok(table::file("runs-out").body(bytes))
    };
    answer(&request, found.await)
}
