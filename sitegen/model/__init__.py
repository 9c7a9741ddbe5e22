"""The trade's nouns as frozen records. Nothing here reads, computes, draws or writes."""
