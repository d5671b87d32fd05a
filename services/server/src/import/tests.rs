use super::*;

const YARD: &str = r#"[yard]
zone = "Europe/Lisbon"
spare = "2 h"
on_call = "4711"

[cards]
as_of = "2026-05-04 06:00"
copied_by = "B-17"
compared_by = "B-04"

[[place]]
code = "F1"
name = "Freezer 1"
frozen = true
highest = -18
room = "CUT"

[[place]]
code = "CUT"
name = "Cutting room"
frozen = false

[[material]]
code = "PM-101"
revision = "C"
name = "Carbon prepreg"
form = "prepreg"
storage_limit = "-18 C"
valid_up_to = "25 C"
shelf_life = { months = 12, tested_at = "oven" }
out_life = "240 h"
tack_life = "160 h"
lay_to_cure = { limit = "72 h", from = "first_ply" }
refreezes = { none_by = "sheet PM-101 C" }

[[batch]]
material = "PM-101"
batch = "B-123"
made_on = "2026-01"
"#;

const CARDS: &str = "roll,material,revision,batch,made,received,place,out_time,refreezes,metres_left,width_mm
R-12,PM-101,C,B-123,2026-01-20,2026-02-02,F1,96:20,3,38.29,1270
R-13,PM-101,,B-123,2026-01,2026-02-02,F1,0:00,0,50,
";

/// What is said about the two files, and what they would write.
fn checked(yard: &[u8], cards: &[u8]) -> (Vec<String>, Vec<Planned>) {
    let mut problems = Problems::default();
    let planned = Text::from_bytes("yard.toml", yard, &mut problems).and_then(|text| {
        let file = YardFile::read(&text, &mut problems)?;
        let cards = Text::from_bytes("cards.csv", cards, &mut problems)?;
        let cards = cards_file::read(&cards, &file, &mut problems);
        Some(plan::plan(&file, &cards))
    });
    (problems.sorted().iter().map(ToString::to_string).collect(), planned.unwrap_or_default())
}

fn said(yard: &str, cards: &str) -> Vec<String> {
    checked(yard.as_bytes(), cards.as_bytes()).0
}

fn says(yard: &str, cards: &str, sentence: &str) {
    let said = said(yard, cards);
    assert!(said.iter().any(|line| line.contains(sentence)), "{sentence:?} is not in {said:#?}");
}

#[test]
fn two_files_become_decisions_and_then_two_facts_a_roll() {
    let (problems, planned) = checked(YARD.as_bytes(), CARDS.as_bytes());
    assert_eq!(problems, Vec::<String>::new());
    let kinds: Vec<_> = planned.iter().map(|one| format!("{} {}", one.body.plain_kind(), one.thing)).collect();
    assert_eq!(
        kinds,
        [
            "yard_declared yard/YARD",
            "place_declared place/CUT",
            "place_declared place/F1",
            "material_revised material/PM-101",
            "batch_registered batch/PM-101/B-123",
            "roll_received roll/R-12",
            "roll_put_away roll/R-12",
            "roll_received roll/R-13",
            "roll_put_away roll/R-13",
        ]
    );
    let posted = planned[5].posted(0);
    assert_eq!(posted["occurred_at"], "2026-05-04T06:00:00.000+01:00");
    assert_eq!(posted["second"]["by"], "B-04");
    assert_eq!(posted["body"]["length_mm"], 38_290);
    assert_eq!(posted["body"]["from"], "F1");
    assert_eq!(posted["body"]["opening"]["out_time_s"], 346_800);
    assert_eq!(posted["body"]["opening"]["source"], "card");
    assert_eq!(planned[6].posted(0)["occurred_at"], "2026-05-04T06:00:01.000+01:00");
    assert_eq!(planned[3].posted(4)["decide"], "revise_material");
    assert_eq!(planned[3].posted(4)["based_on"], 4);
    assert_eq!(planned[3].posted(4)["body"]["refreezes"]["none_by"], "sheet PM-101 C");
    assert_eq!(planned[7].posted(0)["body"]["revision"], "C");
}

#[test]
fn the_ids_come_from_the_codes() {
    let ids = |cards: &str| checked(YARD.as_bytes(), cards.as_bytes()).1.iter().map(|one| one.id).collect::<Vec<_>>();
    assert_eq!(ids(CARDS), ids(&CARDS.replace("38.29", "12.5")));
    let different: std::collections::BTreeSet<_> = ids(CARDS).into_iter().collect();
    assert_eq!(different.len(), 9);
}

#[test]
fn what_a_spreadsheet_program_adds_is_left_out() {
    let with_mark = format!("\u{feff}{}", CARDS.replace('\n', "\r\n"));
    let yard = format!("\u{feff}{}", YARD.replace('\n', "\r\n"));
    let (problems, planned) = checked(yard.as_bytes(), with_mark.as_bytes());
    assert_eq!((problems.len(), planned.len()), (0, 9), "{problems:?}");
}

#[test]
fn all_problems_are_said_at_once_each_with_its_line() {
    let cards =
        CARDS.replace("96:20", "-4:00").replace("50,", "0,") + "R-12,PM-101,C,B-9,2026-01,2025-02-02,F9,1:00,0,5,\n";
    let said = said(YARD, &cards);
    for sentence in [
        "cards.csv, line 2: out_time: \"-4:00\" is no duration",
        "cards.csv, line 3: metres_left: 0 m is no length of a roll",
        "cards.csv, line 4: place F9 is not in yard.toml",
        "cards.csv, line 4: batch B-9 of PM-101 is not in yard.toml",
        "cards.csv, line 4: received 2025-02-02, before it was made (2026-01)",
    ] {
        assert!(said.iter().any(|line| line.starts_with(sentence)), "{sentence:?} is not in {said:#?}");
    }
}

#[test]
fn a_file_in_another_encoding_or_with_other_marks_is_said_to_be_so() {
    let latin = b"roll,material\nR\xe9-1,PM-101\n";
    assert_eq!(
        checked(YARD.as_bytes(), latin).0,
        ["cards.csv, line 2: this line is not UTF-8; save the file as UTF-8"]
    );
    assert!(checked(b"\xff\xfe[\0", CARDS.as_bytes()).0[0].contains("UTF-16"));
    says(YARD, &CARDS.replace(',', ";"), "cards.csv, line 1: the columns are not parted by commas");
    says(
        YARD,
        &CARDS.replace(",refreezes", ""),
        "cards.csv, line 1: the first line names the columns; it lacks refreezes",
    );
    says(YARD, &CARDS.replace("width_mm", "colour"), "cards.csv, line 1: \"colour\" is no column");
    says(YARD, &CARDS.replace("revision", "roll"), "the column roll is there twice");
    says(YARD, &CARDS.replace("38.29", "38,29"), "cards.csv, line 2: 12 values, and 11 columns");
    says(
        YARD,
        &CARDS.replace("38.29", "\"38,29\""),
        "cards.csv, line 2: metres_left: \"38,29\" is no length; write metres with a point",
    );
    says(YARD, "", "it lacks roll");
}

#[test]
fn a_row_that_disagrees_with_the_yard_file_is_a_problem() {
    says(YARD, &CARDS.replace("R-13", "r-12 "), "cards.csv, line 3: R-12 is in line 2 already");
    says(
        YARD,
        &CARDS.replace("2026-01-20", "2026-03-20"),
        "line 2: made 2026-03-20, and yard.toml, line 36 says that batch B-123 was made 2026-01",
    );
    says(
        YARD,
        &CARDS.replace("2026-02-02", "2026-06-01"),
        "received 2026-06-01, after the cards were read (2026-05-04)",
    );
    says(YARD, &CARDS.replace(",C,", ",D,"), "line 2: revision D of PM-101 is not in yard.toml");
    says(YARD, &CARDS.replace(",F1,", ",CUT,"), "CUT is a room");
    says(YARD, &CARDS.replace(",3,", ",three,"), "refreezes: \"three\" is no count");
    says(YARD, &CARDS.replace(",1270", ",-3"), "width_mm: \"-3\" is no width");
    says(YARD, &CARDS.replace("R-13", ""), "line 3: roll is empty");
}

#[test]
fn the_yard_file_is_checked_line_by_line() {
    let with = |from: &str, to: &str, sentence: &str| says(&YARD.replace(from, to), CARDS, sentence);
    with("zone = \"Europe/Lisbon\"", "zone = \"Lisbon\"", "yard.toml, line 2: zone: \"Lisbon\" is no zone");
    with("spare = \"2 h\"", "spare = \"2\"", "yard.toml, line 3: spare: \"2\" is no duration");
    with("spare = \"2 h\"", "spare = -2", "yard.toml, line 3: spare: \"-2\" is no duration");
    with("spare = \"2 h\"", "spare = ", "yard.toml, line 3: this is not TOML");
    with("[yard]", "[dock]", "there is no [yard]");
    with("B-04", "B-17", "copied_by and compared_by are one badge");
    with("06:00", "26:00", "yard.toml, line 7: as_of: \"2026-05-04 26:00\" is no time");
    with("highest = -18", "highest = \"0 F\"", "yard.toml, line 15: highest: \"0 F\" is no temperature");
    with("room = \"CUT\"", "room = \"HALL\"", "F1 stands in HALL, and there is no [[place]] of that code");
    with("frozen = false", "frozen = \"no\"", "yard.toml, line 21: frozen is true or false");
    with("code = \"CUT\"", "code = \"F1\"", "yard.toml, line 18: place F1 is in line 11 already");
    with("tack_life", "tacklife", "[[material]] has no \"tacklife\"");
    with("months = 12", "months = 0", "\"0\" is no number of months");
    with("\"oven\"", "\"autoclave\"", "tested_at: \"autoclave\" is none of take_out, lay, oven");
    with("\"first_ply\"", "\"last_ply\"", "neither first_ply nor complete");
    with("made_on = \"2026-01\"", "made_on = \"01/2026\"", "made_on: \"01/2026\" is not a day");
    with("material = \"PM-101\"", "material = \"PM-7\"", "batch B-123 is of PM-7");
    with("[[batch]]", "[batch]", "write [[batch]] above the values");
    with("form = \"prepreg\"\n", "", "[[material]] lacks form");
}

#[test]
fn a_limit_that_is_not_stated_is_not_unlimited() {
    let yard = YARD.replace("tack_life = \"160 h\"\n", "");
    let mut problems = Problems::default();
    let text = Text::from_bytes("yard.toml", yard.as_bytes(), &mut problems).unwrap();
    let file = YardFile::read(&text, &mut problems).unwrap();
    assert_eq!(file.notes.len(), 1);
    assert!(file.notes[0].starts_with("PM-101 states no tack_life"));
}

#[test]
fn what_is_counted_is_called_the_same_wherever_it_is() {
    let (_, planned) = checked(YARD.as_bytes(), CARDS.as_bytes());
    assert_eq!(count(&planned), "the yard, 2 places, 1 material, 1 batch, 2 rolls");
    assert_eq!(count(&planned[6..]), "1 roll, 1 put-away");
    assert_eq!(count(&[]), "nothing");
}

#[test]
fn a_difference_is_said_in_the_columns_and_units_of_the_files() {
    let plan = |yard: &str, cards: &str| checked(yard.as_bytes(), cards.as_bytes()).1;
    let there = plan(YARD, CARDS);
    let other =
        YARD.replace("240 h", "250 h").replace("none_by = \"sheet PM-101 C\"", "allowed = 5, after = \"30 min\"");
    let here = plan(&other.replace("2026-01\"", "2026-01-14\""), &CARDS.replace("96:20,3,38.29", "97:20,4,37.9"));
    let said: Vec<_> =
        there.iter().zip(&here).flat_map(|(there, here)| fields::differences(&here.body, &there.body)).collect();
    assert_eq!(
        said,
        [
            "out_life is 240 h there, 250 h here",
            "refreezes is none by sheet PM-101 C there, nothing here",
            "refreezes.after is nothing there, 30 min here",
            "refreezes.allowed is nothing there, 5 here",
            "made_on is 2026-01 there, 2026-01-14 here",
            "metres_left is 38.29 there, 37.9 here",
            "out_time is 96:20 there, 97:20 here",
            "refreezes is 3 there, 4 here",
        ]
    );
}
