//! Pages of a big yard as one person asks for them, one after another: the slowest of twenty (p95), beside a handler
//! that does nothing but answer as many bytes.

use std::time::Duration;

use actix_web::rt::System;
use server::{
    clock::{Clock, SystemClock},
    http, intake,
    yard::{Options, Yard},
};
use shared_types::Stamp;

use super::{
    client::{Asked, ONE, ask},
    fill::fill,
    history::History,
    paths,
    serving::{Serving, trivial},
    table::{Plan, Target, ratios, rounds, row},
    work::must_be_written,
};

const PARTS: usize = 60;
const ROWS: usize = 50;

pub(crate) fn run(plan: &Plan) -> bool {
    let things = if plan.quick { 10_000 } else { 100_000 };
    let folder = paths::folder();
    fill(folder.path(), &History::new(things * 6, things, SystemClock::new().now().minus_ms(60_000)), 45);
    let yard = Yard::open(folder.path(), Options::default()).unwrap();
    build_boat(&yard);
    yard.archive.drained();
    let ours = Serving::start(move |listener, stop| System::new().block_on(http::serve(yard, listener, stop)).unwrap());
    // The thousandth page goes on behind the roll that ends the one before.
    let begin = format!("/api/v1/rolls?limit={ROWS}");
    let (mut far, pages) = (begin.clone(), if plan.quick { 100 } else { 1_000 });
    for _ in 1..pages {
        far = next(ours.at, &far);
    }
    let cases = [
        ("the page of one thing with 400 entries", "/thing/roll/R-000000".to_owned(), 20.0),
        ("a list's first page", begin.clone(), 15.0),
        ("a list's thousandth page", far.clone(), 15.0),
        ("a list's first page as a page", "/rolls".to_owned(), 15.0),
        ("the trace page of a 60-part boat", "/boat/NB-1".to_owned(), 60.0),
    ];
    let mut met = true;
    for (what, path, most) in cases {
        met &= one(plan, what, ours.at, &path, most);
    }
    let of = |path: &str| ask(ours.at, ONE, plan.round, |to| to.extend_from_slice(path.as_bytes()));
    let all = rounds(plan, "thousandth page beside the first", || of(&begin), || of(&far));
    let (ratio, noise) = ratios(&all, |asked| asked.p50_us);
    met &= row("a list's thousandth page / its first: p50", Target::AtMost(1.1), &ratio, &noise);
    let (sheet, whole) = ("/boat/NB-1", "/boat/NB-1?parts=whole");
    let all =
        rounds(plan, "the boat's page with its parts' records beside the one without", || of(sheet), || of(whole));
    let (ratio, noise) = ratios(&all, |asked| asked.p50_us);
    // It says several times as much.
    row("the boat's page with its parts' records / without: p50", Target::Stated("x"), &ratio, &noise);
    ours.stop();
    met
}

fn one(plan: &Plan, what: &str, server: std::net::SocketAddr, path: &str, most: f64) -> bool {
    let of = |server| ask(server, ONE, plan.round, |to| to.extend_from_slice(path.as_bytes()));
    let bytes = ask(server, ONE, Duration::from_millis(300), |to| to.extend_from_slice(path.as_bytes())).bytes as usize;
    let beside = Serving::start(move |listener, stop| System::new().block_on(trivial(listener, bytes, stop)));
    let all = rounds(plan, what, || of(beside.at), || of(server));
    beside.stop();
    let (ratio, noise) = ratios(&all, |asked| asked.p95_us);
    let met = row(&format!("{what}: p95 / trivial handler"), Target::AtMost(most), &ratio, &noise);
    let stated = |name: &str, unit, of: &dyn Fn(&Asked) -> f64| {
        let mine: Vec<f64> = all.iter().map(|round| of(&round.ours)).collect();
        row(&format!("  {what}: {name}"), Target::Stated(unit), &mine, &[]);
    };
    stated("p95", "us", &|asked| asked.p95_us);
    stated("body", "bytes", &|asked| asked.bytes);
    met
}

/// The address of the page after.
fn next(server: std::net::SocketAddr, path: &str) -> String {
    let answer = reqwest::blocking::get(format!("http://{server}{path}")).unwrap();
    let page: serde_json::Value = serde_json::from_str(&answer.text().unwrap()).unwrap();
    page["next"].as_str().unwrap().to_owned()
}

/// A boat of sixty parts, each laid from four kits that were cut from rolls of the yard, cured and installed.
fn build_boat(yard: &Yard) {
    let post = |kind: &str, thing: &str, body: &str| {
        let (id, at) = (SystemClock::new().new_id(), Stamp::utc(yard.now()));
        let fact = format!(
            r#"{{"id":"{id}","kind":"{kind}","thing":"{thing}","occurred_at":"{at}","by":"B-7","body":{body}}}"#
        );
        must_be_written(&yard.committer.submit_blocking(intake::fact(&fact).unwrap()));
    };
    for part in 0..PARTS {
        let kits = part * 4..part * 4 + 4;
        let cut: Vec<String> = kits
            .clone()
            .map(|kit| {
                let roll = History::roll(100 + kit * 7);
                format!(r#"{{"kit":"KB-{kit}","job":"JB-{part}","items":[{{"roll":"{roll}","length_mm":900}}]}}"#)
            })
            .collect();
        post("nest_cut", &format!("nest/NB-{part}"), &format!(r#"{{"kits":[{}]}}"#, cut.join(",")));
        for kit in kits {
            post("plies_laid", &format!("part/PB-{part}"), &format!(r#"{{"stage":"skin","from":"kit/KB-{kit}"}}"#));
        }
        let stages = format!(r#"{{"oven":"OV1","stages":[{{"part":"PB-{part}","stage":"skin"}}]}}"#);
        post("oven_run_started", &format!("run/{part}"), &stages);
        post("part_installed", &format!("part/PB-{part}"), r#"{"boat":"NB-1"}"#);
    }
}
