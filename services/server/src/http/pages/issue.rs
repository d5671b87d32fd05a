//! Giving rolls and kits to a job: scan the job, scan the roll, read whether it lasts through the plan, one tap.

use super::wish::{self, Draft};
use super::{answer, badge, in_a_query, scan, screen::Button, see, work};
use crate::http::{ask, problems::Fault};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, post, route, web};
use domain::say::Say;
use domain::view::View;
use domain::{Book, When};
use serde::Deserialize;
use serde_json::json;
use shared_types::{Body, Code, Entry, Kind, ThingName, Word};
use uuid::Uuid;
use work::{Asks, Press, Step};

#[derive(Deserialize, Default, Clone)]
pub(crate) struct IssueQuery {
    /// What was scanned just now.
    #[serde(default)]
    code: String,
    #[serde(default)]
    job: String,
    /// The roll or kit.
    #[serde(default)]
    thing: String,
    /// The entry that was written just now.
    #[serde(default)]
    done: Option<u64>,
}

#[derive(Deserialize)]
pub(crate) struct IssueForm {
    id: Uuid,
    job: String,
    thing: String,
    based_on: u64,
}

impl IssueQuery {
    fn address(&self) -> String {
        format!("/issue?job={}&thing={}", in_a_query(&self.job), in_a_query(&self.thing))
    }

    fn with(&self, thing: &ThingName) -> IssueQuery {
        let mut next = IssueQuery { code: String::new(), done: None, ..self.clone() };
        match thing.kind() {
            Kind::Job => next.job = thing.code().to_owned(),
            _ => next.thing = thing.to_string(),
        }
        next
    }
}

#[route("/issue", method = "GET", method = "HEAD")]
pub(crate) async fn issue_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<IssueQuery>,
) -> HttpResponse {
    let query = query.into_inner();
    let shown = async {
        let done = scan::written(&yard, query.done).await?;
        if query.code.trim().is_empty() {
            return work::render(&request, step(&yard, &query, done.as_ref())?);
        }
        let next = |thing: &ThingName| query.with(thing).address();
        work::go_on(&request, &yard, &query.code, &[Kind::Job, Kind::Roll, Kind::Kit], next, |big| plain(&query, big))
    };
    answer(&request, shown.await)
}

#[post("/issue")]
pub(crate) async fn post_issue(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<IssueForm>,
) -> HttpResponse {
    let form = form.into_inner();
    let done = async {
        let job = work::code(&form.job, "job")?;
        let thing: ThingName = form
            .thing
            .parse()
            .map_err(|_| Fault::cannot_read("The form came without its roll or kit. Scan it again."))?;
        let query = IssueQuery { job: job.to_string(), thing: thing.to_string(), ..IssueQuery::default() };
        let Some(by) = badge::remembered(&request) else {
            return Ok(badge::first(&query.address()));
        };
        let draft = Draft { decide: "issue", thing, body: json!({ "job": job }) };
        match wish::submit(&yard, &draft, form.id, &by, None, form.based_on).await {
            Ok((seq, _)) => {
                let next = IssueQuery { thing: String::new(), ..query };
                Ok(see(&format!("{}&done={seq}", next.address())))
            }
            Err(fault) if fault.status().is_server_error() => Err(fault),
            Err(fault) => refused(&request, &yard, &query, &fault),
        }
    };
    answer(&request, done.await)
}

/// Why it was not given, above what the book says now.
fn refused(request: &HttpRequest, yard: &Yard, query: &IssueQuery, fault: &Fault) -> Result<HttpResponse, Fault> {
    let mut step = step(yard, query, None)?;
    step.frame = "no";
    step.big.insert(0, "Nothing was written.".to_owned());
    step.why.insert(0, fault.problem().detail.clone());
    work::render_as(request, fault.status(), step)
}

/// A step that asks for a scan and offers nothing to press.
fn plain(query: &IssueQuery, big: Vec<String>) -> Step {
    Step {
        name: if query.job.is_empty() { "Issue".to_owned() } else { format!("For {}", query.job) },
        keep: work::kept(&[("job", &query.job), ("thing", &query.thing)]),
        ready: if query.job.is_empty() { "Ready. Scan the job." } else { "Ready. Scan a roll or kit." },
        big,
        ..Step::at("/issue", "Uncured resin: gloves, and wash before you eat.")
    }
}

fn step(yard: &Yard, query: &IssueQuery, done: Option<&Entry>) -> Result<Step, Fault> {
    if query.job.is_empty() {
        return Ok(plain(query, vec!["Scan the job.".to_owned()]));
    }
    let job = work::code(&query.job, "job")?;
    let (id, when) = (yard.clock.new_id(), When::now(yard.now()));
    ask::ask(yard, |book| {
        let name = ThingName::new(Kind::Job, &job);
        let opened = domain::stock::one(book, &name, when).and_then(|row| row.planned);
        let Some(plan) = opened else {
            let say = format!("Nobody has opened {job}: open it first.");
            return Ok(Step { frame: "cannot", ..plain(query, vec![say]) });
        };
        match query.thing.parse::<ThingName>() {
            Ok(thing) => Ok(may_issue(book, query, &job, &thing, plan.issued.contains(&thing), when, id)),
            Err(_) => Ok(written(book, query, &job, done, when)),
        }
    })
}

fn may_issue(
    book: &Book,
    query: &IssueQuery,
    job: &Code,
    thing: &ThingName,
    already: bool,
    when: When,
    id: Uuid,
) -> Step {
    let may = match domain::may_use(book, &domain::for_issue(thing.clone(), job, when)) {
        Ok(may) => may,
        Err(why) => return Step { frame: "cannot", ..plain(query, vec![why.to_string()]) },
    };
    let mut step = plain(query, vec![may.say.clone()]);
    thing.short().clone_into(&mut step.name);
    step.frame = work::frame(may.answer);
    step.why.extend(Some(may.why.clone()).filter(|why| !why.is_empty()));
    if already {
        step.why.insert(0, format!("{} was issued to {job} already.", thing.short()));
    } else if may.answer <= Word::NotYet {
        let label = format!("Issue {} to {job}", thing.short());
        let fields = [
            ("id", id.to_string()),
            ("job", query.job.clone()),
            ("thing", query.thing.clone()),
            ("based_on", book.last_seq().to_string()),
        ];
        let buttons = vec![Button { go: "issue".to_owned(), label }];
        step.press = Some(Press {
            fields: fields.to_vec(),
            typed: Vec::new(),
            one_of: None,
            tick: None,
            buttons,
            asks: Asks::First,
            back: query.address(),
        });
    } else {
        step.why.push(format!("It is not issued. Scan another roll or kit for {job}."));
    }
    step
}

/// What was written just now, or the question for the next.
fn written(book: &Book, query: &IssueQuery, job: &Code, done: Option<&Entry>, when: When) -> Step {
    let say = Say::of(View::new(book, when.known), when.now);
    let issued = done.filter(|entry| matches!(&entry.body, Body::Issued(issue) if issue.job == *job));
    let mut step = match issued {
        Some(entry) => {
            let at = say.time(entry.occurred_at.at, when.now);
            plain(query, vec![format!("{}: issued to {job} {at}.", entry.thing.short())])
        }
        None => plain(query, vec![format!("{job}: scan a roll or kit.")]),
    };
    step.choices.push((format!("/job/{}", in_a_query(job.as_str())), format!("The job {job}")));
    step
}

#[cfg(test)]
mod tests {
    use super::IssueQuery;

    #[test]
    fn what_was_scanned_stands_in_the_address() {
        let query = IssueQuery { job: "J 1".to_owned(), thing: "roll/R-42".to_owned(), ..IssueQuery::default() };
        assert_eq!(query.address(), "/issue?job=J%201&thing=roll/R-42");
    }
}
