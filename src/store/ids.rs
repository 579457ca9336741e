//! Ids in columns of text.

use sqlx::encode::IsNull;
use sqlx::error::BoxDynError;
use sqlx::sqlite::{SqliteArgumentsBuffer, SqliteTypeInfo, SqliteValueRef};
use sqlx::{Decode, Encode, Sqlite, Type};

use crate::ids::{ExperimentKey, LotCode, SectionName, StudentId, UnknownCode};

macro_rules! text_columns {
    ($($id:ident),*) => {$(
        impl Type<Sqlite> for $id {
            fn type_info() -> SqliteTypeInfo {
                <String as Type<Sqlite>>::type_info()
            }

            fn compatible(found: &SqliteTypeInfo) -> bool {
                <String as Type<Sqlite>>::compatible(found)
            }
        }

        impl Encode<'_, Sqlite> for $id {
            fn encode_by_ref(&self, buffer: &mut SqliteArgumentsBuffer) -> Result<IsNull, BoxDynError> {
                Encode::<Sqlite>::encode(self.to_string(), buffer)
            }
        }

        impl Decode<'_, Sqlite> for $id {
            fn decode(value: SqliteValueRef<'_>) -> Result<Self, BoxDynError> {
                <String as Decode<Sqlite>>::decode(value).map(Self::new)
            }
        }
    )*};
}
text_columns!(ExperimentKey, LotCode, SectionName, StudentId, UnknownCode);
