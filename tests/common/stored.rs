//! Values as they are stored: in bytes and in text, read back to the bit.

use serde::{Serialize, de::DeserializeOwned};
use std::fmt::Debug;

/// Returns from bytes and from text, and from no part of its bytes.
pub fn returns<T: Serialize + DeserializeOwned + PartialEq + Debug>(value: T) {
    let bytes = postcard::to_stdvec(&value).expect("serialises");
    assert_eq!(postcard::from_bytes::<T>(&bytes).as_ref(), Ok(&value));
    for length in 0..bytes.len() {
        assert!(postcard::from_bytes::<T>(&bytes[..length]).is_err(), "{length} bytes of {value:?}");
    }
    let text = serde_json::to_string(&value).expect("serialises");
    assert_eq!(serde_json::from_str::<T>(&text).expect("deserialises"), value, "{text}");
}
