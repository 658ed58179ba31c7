//! What a build schedule needs of each wire, what the stock covers, and what to buy.
