//! What happens to one roll or kit: a walk through the yard, with everything that goes wrong on the way.

use serde_json::{Value, json};

use super::Writer;
use super::yard::{FREEZERS, MATERIALS, OPENS, ROOMS, TRUCK};
use crate::stepper::Minute;

/// A roll with its receipt's instant and the instants at which it was taken out.
pub(super) struct Roll {
    pub(super) code: String,
    pub(super) received: Minute,
    pub(super) take_outs: Vec<Minute>,
}

pub(super) fn rolls(writer: &mut Writer) -> Vec<Roll> {
    let count = writer.random.between(6, 14);
    (1..=count).map(|number| roll(writer, number)).collect()
}

fn roll(writer: &mut Writer, number: i64) -> Roll {
    let code = format!("R-{number}");
    let label = format!("roll/{code}");
    writer.things.push((label.clone(), None));
    let received = OPENS + writer.random.between(0, 3000);
    // Some are received only when they are through with everything, with a card or a certificate of then.
    let late = writer.random.chance(12);
    if !late {
        receive(writer, &label, received);
    }
    let mut walk = Walk { at: received, place: None, take_outs: Vec::new() };
    if writer.random.chance(10) {
        // Cold first, questions later.
        let first = received - writer.random.between(1, 40);
        let place = writer.random.pick(&FREEZERS).to_owned();
        put_away(writer, &label, first, &place);
        walk.place = Some(place);
    }
    let steps = writer.random.between(2, 18);
    (0..steps).for_each(|_| walk.step(writer, &label));
    if late {
        let since = writer.random.between(received, walk.at);
        receive(writer, &label, since);
    }
    if writer.random.chance(6) {
        let again = writer.random.between(received - 60, walk.at);
        receive(writer, &label, again);
    }
    if writer.random.chance(8) {
        let at = walk.at + writer.random.between(1, 600);
        writer.fact("disposed", &label, at, json!({"why": "torn"}));
    }
    Roll { code, received, take_outs: walk.take_outs }
}

fn receive(writer: &mut Writer, label: &str, at: Minute) {
    let random = &mut writer.random;
    let (material, batches) = MATERIALS[random.between(0, 2) as usize];
    let batch = format!("B-{}", random.between(1, batches as i64));
    let length_mm = random.between(20, 60) * 1000;
    let mut body = json!({"material": material, "revision": "A", "batch": batch, "length_mm": length_mm});
    match random.between(1, 10) {
        1..=6 => body["from"] = json!(TRUCK),
        7 => body["from"] = json!(ROOMS[0]),
        _ => {}
    }
    if random.chance(93) {
        let before = match random.between(1, 10) {
            1..=3 => 0,
            4 => -random.between(1, 30),
            _ => random.between(60, 2500),
        };
        body["opening"] = json!({
            "out_time_s": random.between(0, 40) * 3600, "refreezes": random.between(0, 1),
            "as_of": super::time(at - before), "source": random.pick(&["certificate", "card"])
        });
    }
    writer.fact("roll_received", label, at, body);
}

/// Where a thing is believed to be by those who scan it.
pub(super) struct Walk {
    pub(super) at: Minute,
    pub(super) place: Option<String>,
    pub(super) take_outs: Vec<Minute>,
}

impl Walk {
    pub(super) fn step(&mut self, writer: &mut Writer, label: &str) {
        self.at += match writer.random.between(1, 100) {
            1..=4 => 0,
            5..=25 => writer.random.between(1, 12),
            26..=70 => writer.random.between(10, 200),
            _ => writer.random.between(200, 2000),
        };
        match self.place.clone() {
            Some(here) => self.step_inside(writer, label, here),
            None => self.step_outside(writer, label),
        }
    }

    fn step_inside(&mut self, writer: &mut Writer, label: &str, here: String) {
        let elsewhere = writer.random.pick(&FREEZERS).to_owned();
        match writer.random.between(1, 100) {
            1..=56 => self.take_out(writer, label),
            // The wrong placard, or a second scan; perhaps it was really taken out.
            57..=69 => {
                put_away(writer, label, self.at, &here);
                self.place = writer.random.chance(50).then_some(here);
            }
            70..=77 => {
                put_away(writer, label, self.at, &elsewhere);
                self.place = Some(elsewhere);
            }
            78..=89 => seen(writer, label, self.at, &here),
            90..=93 => seen(writer, label, self.at, &elsewhere),
            94..=97 => self.seen_in_a_room(writer, label),
            _ => {
                let room = writer.random.pick(&ROOMS).to_owned();
                put_away(writer, label, self.at, &room);
                self.place = None;
            }
        }
    }

    fn step_outside(&mut self, writer: &mut Writer, label: &str) {
        let place = writer.random.pick(&FREEZERS).to_owned();
        match writer.random.between(1, 100) {
            1..=64 => {
                put_away(writer, label, self.at, &place);
                self.place = Some(place);
            }
            65..=79 => self.take_out(writer, label),
            80..=89 => seen(writer, label, self.at, &place),
            90..=96 => self.seen_in_a_room(writer, label),
            _ => {
                let room = writer.random.pick(&ROOMS).to_owned();
                put_away(writer, label, self.at, &room);
            }
        }
    }

    fn take_out(&mut self, writer: &mut Writer, label: &str) {
        let mut body = json!({});
        if let (true, Some(here)) = (writer.random.chance(70), &self.place) {
            body["from"] = json!(here);
        }
        if writer.random.chance(70) {
            body["to"] = json!("CUT");
        }
        let kind = if label.starts_with("kit/") { "kit_taken_out" } else { "roll_taken_out" };
        writer.fact(kind, label, self.at, body);
        self.take_outs.push(self.at);
        self.place = None;
    }

    fn seen_in_a_room(&mut self, writer: &mut Writer, label: &str) {
        let room = writer.random.pick(&ROOMS).to_owned();
        seen(writer, label, self.at, &room);
        self.place = None;
    }
}

fn put_away(writer: &mut Writer, label: &str, at: Minute, into: &str) {
    let kind = if label.starts_with("kit/") { "kit_put_away" } else { "roll_put_away" };
    let body = with_position(writer, json!({"into": into}));
    writer.fact(kind, label, at, body);
}

fn seen(writer: &mut Writer, label: &str, at: Minute, place: &str) {
    let body = with_position(writer, json!({"in": place}));
    writer.fact("seen", label, at, body);
}

fn with_position(writer: &mut Writer, mut body: Value) -> Value {
    if writer.random.chance(25) {
        body["position"] = json!(format!("A{}", writer.random.between(1, 9)));
    }
    body
}
