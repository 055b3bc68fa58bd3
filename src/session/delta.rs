//! What has changed between two states, so that each line of a journal is short although a state
//! holds seconds of readings. The method is our own: lists that only lost their beginning and gained
//! an end are told by these two, since that is how memories of readings move.
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// A change of a JSON value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Delta {
    /// The value is now this one.
    Set(Value),
    /// Some fields of an object have changed.
    Within {
        /// How.
        fields: Vec<(String, Delta)>,
        /// Fields that are gone.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        gone: Vec<String>,
    },
    /// A list has lost its first elements and gained some at the end.
    Slid {
        /// How many it has lost.
        lost: usize,
        /// What it has gained.
        gained: Vec<Value>,
    },
}

impl Delta {
    /// What leads from `old` to `new`; none where they are the same.
    pub(super) fn between(old: &Value, new: &Value) -> Option<Delta> {
        if old == new {
            return None;
        }
        match (old, new) {
            (Value::Object(old), Value::Object(new)) => Some(within(old, new)),
            (Value::Array(old), Value::Array(new)) => slid(old, new),
            _ => None,
        }
        .or_else(|| Some(Delta::Set(new.clone())))
    }

    /// Changes `value`; `false` where the change does not fit it.
    pub(super) fn apply(self, value: &mut Value) -> bool {
        match (self, value) {
            (Delta::Set(new), value) => {
                *value = new;
                true
            }
            (Delta::Within { fields, gone }, Value::Object(object)) => {
                for field in gone {
                    object.remove(&field);
                }
                fields.into_iter().all(|(field, delta)| match delta {
                    Delta::Set(new) => {
                        object.insert(field, new);
                        true
                    }
                    delta => object
                        .get_mut(&field)
                        .is_some_and(|value| delta.apply(value)),
                })
            }
            (Delta::Slid { lost, gained }, Value::Array(list)) if lost <= list.len() => {
                list.drain(..lost);
                list.extend(gained);
                true
            }
            (Delta::Within { .. } | Delta::Slid { .. }, _) => false,
        }
    }
}

fn within(old: &Map<String, Value>, new: &Map<String, Value>) -> Delta {
    let fields = new
        .iter()
        .filter_map(|(field, value)| {
            let delta = match old.get(field) {
                Some(before) => Delta::between(before, value)?,
                None => Delta::Set(value.clone()),
            };
            Some((field.clone(), delta))
        })
        .collect();
    let gone = old
        .keys()
        .filter(|field| !new.contains_key(*field))
        .cloned()
        .collect();
    Delta::Within { fields, gone }
}

/// Where something of the old list is left in front.
fn slid(old: &[Value], new: &[Value]) -> Option<Delta> {
    let lost = (0..old.len()).find(|lost| new.starts_with(&old[*lost..]))?;
    Some(Delta::Slid {
        lost,
        gained: new[old.len() - lost..].to_vec(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    fn values() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            (-3i64..3).prop_map(Value::from),
            any::<f64>().prop_map(Value::from),
            "[ab]{0,2}".prop_map(Value::from),
        ];
        leaf.prop_recursive(3, 24, 5, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
                prop::collection::btree_map("[abc]", inner, 0..4)
                    .prop_map(|map| Value::Object(map.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #[test]
        fn what_is_applied_gives_the_new_value(old in values(), new in values()) {
            let mut value = old.clone();
            match Delta::between(&old, &new) {
                None => prop_assert_eq!(&old, &new),
                Some(delta) => {
                    // As it comes back from a file.
                    let text = serde_json::to_string(&delta).unwrap();
                    prop_assert!(serde_json::from_str::<Delta>(&text).unwrap().apply(&mut value));
                }
            }
            prop_assert_eq!(value, new);
        }

        #[test]
        fn a_change_of_something_else_never_panics(old in values(), new in values(), mut other in values()) {
            if let Some(delta) = Delta::between(&old, &new) {
                delta.apply(&mut other);
            }
        }
    }

    #[test]
    fn a_memory_that_moves_on_is_told_by_its_two_ends() {
        let delta = Delta::between(
            &json!({"m": [1, 2, 3, 4], "n": 1}),
            &json!({"m": [3, 4, 5], "n": 1}),
        );
        let wanted = Delta::Slid {
            lost: 2,
            gained: vec![json!(5)],
        };
        assert_eq!(
            delta,
            Some(Delta::Within {
                fields: vec![("m".into(), wanted)],
                gone: vec![]
            })
        );
    }
}
