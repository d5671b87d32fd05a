//! Parameters of an operation, read so that the one that could not be read is pointed at.

use super::{
    problems::{Fault, out},
    say,
};
use actix_web::{FromRequest, HttpRequest, dev, web};
use serde::de::DeserializeOwned;
use std::{
    future::{Ready, ready},
    ops::Deref,
};

/// What stands behind the `?`.
pub(crate) struct Query<T>(T);

impl<T> Query<T> {
    pub(crate) fn into_inner(self) -> T {
        self.0
    }
}

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(request: &HttpRequest, _: &mut dev::Payload) -> Self::Future {
        ready(read(request.query_string()).map(Query).map_err(|fault| out(request, fault)))
    }
}

fn read<T: DeserializeOwned>(query: &str) -> Result<T, Fault> {
    said::<T>(query).map_err(|why| {
        let words = say::plain(&why);
        let unread = |what: &str| Fault::cannot_read(format!("The {what} could not be read: {words}."));
        match culprit::<T>(query, &why) {
            // What the words name already is not named twice.
            Some(name) if words.contains(&name) => unread("question").field(pointed(&name), &words),
            Some(name) => unread(&format!("parameter {name}")).field(pointed(&name), &words),
            None => unread("question"),
        }
    })
}

/// The parameters, or what the parser says.
fn said<T: DeserializeOwned>(query: &str) -> Result<T, String> {
    web::Query::from_query(query).map(web::Query::into_inner).map_err(|error| {
        let text = error.to_string();
        text.strip_prefix("Query deserialize error: ").unwrap_or(&text).to_owned()
    })
}

/// The name of the parameter that the parser complains of: the one that is missing, else the first with which it
/// complains so. With one more it complains no less: the first is looked for by halves, however many there are.
fn culprit<T: DeserializeOwned>(query: &str, why: &str) -> Option<String> {
    if let Some(name) = why.strip_prefix("missing field `").and_then(|rest| rest.strip_suffix('`')) {
        return Some(name.to_owned());
    }
    let ends: Vec<usize> = query.match_indices('&').map(|(end, _)| end).chain([query.len()]).collect();
    let part = |end: &usize| query.get(..*end).unwrap_or_default();
    let fits = |end: &usize| !said::<T>(part(end)).is_err_and(|said| said == why);
    let read = part(ends.get(ends.partition_point(fits))?);
    let last = read.rsplit('&').next()?;
    let pair = said::<Vec<(String, String)>>(last).ok()?.into_iter().next()?;
    Some(pair.0)
}

/// A name as a JSON pointer (RFC 6901).
fn pointed(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

#[cfg(test)]
mod tests {
    use super::read;
    use crate::http::ask::AtKnown;
    use serde::{Deserialize, Deserializer};
    use serde_json::{Value, json};
    use std::cell::Cell;

    thread_local! {
        static READ: Cell<u32> = const { Cell::new(0) };
    }

    /// Counts how often parameters are read.
    struct Counted;

    impl<'de> Deserialize<'de> for Counted {
        fn deserialize<D: Deserializer<'de>>(parameters: D) -> Result<Counted, D::Error> {
            READ.set(READ.get() + 1);
            AtKnown::deserialize(parameters).map(|_| Counted)
        }
    }

    fn pointed(query: &str) -> Value {
        let fault = read::<AtKnown>(query).map(|_| ()).unwrap_err();
        json!(fault.into_problem())["errors"].clone()
    }

    #[test]
    fn the_parameter_that_could_not_be_read_is_pointed_at() {
        let number = "a whole number is expected, 0 or more";
        assert_eq!(pointed("known=x"), json!([{"pointer": "/known", "detail": number}]));
        assert_eq!(pointed("at=2026-05-06T06:02:11Z&known=-1"), json!([{"pointer": "/known", "detail": number}]));
        for (query, pointer) in [
            ("known=1&known=2", "/known"),
            ("known=1&at=yesterday&x=1", "/at"),
            ("known=1&x%2Fy~=2", "/x~1y~0"),
            ("=1", "/"),
        ] {
            assert_eq!(pointed(query)[0]["pointer"], pointer, "{query}");
        }
    }

    #[test]
    fn it_is_found_among_ever_so_many() {
        let fault = read::<Counted>(&format!("{}known=x", "&".repeat(1_000))).map(|_| ()).unwrap_err();
        assert_eq!(json!(fault.into_problem())["errors"][0]["pointer"], "/known");
        let read = READ.get();
        assert!(read < 20, "read {read} times");
    }
}
