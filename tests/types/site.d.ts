// What the scripts of the site find in place: the search library, and what the scripts with data assign.

interface LibraryHit {
  id: number;
  score: number;
}

interface Combined {
  combineWith: "AND" | "OR";
  queries: (Combined | string)[];
  boostTerm?: (term: string, at: number, terms: string[]) => number;
}

/** As much of MiniSearch 7.2.0 as is used. */
declare class MiniSearch {
  constructor(options: {
    idField: string;
    fields: string[];
    tokenize: (text: string, field?: string) => string[];
    processTerm: (term: string) => string;
    searchOptions: { boost: Record<string, number>; tokenize: (text: string) => string[] };
  });
  addAll(documents: object[]): void;
  search(query: Combined): LibraryHit[];
}

declare var tellmarkSearchData: SearchData;
declare var tellmarkSearchRows: Record<string, SearchGroup>;
declare var tellmarkCompareData: CompareData;
declare var tellmarkCompareRows: Record<string, CompareRow[]>;
declare var tellmarkComparePictures: Record<string, Record<string, string>> | undefined;
declare var tellmarkIdentifyData: import("../../site_builder/modules/page/data.js").IdentifyData;
declare var tellmarkIdentify:
  | Record<string, { packed: import("../../site_builder/modules/kernel/unpack.js").Packed; words: import("../../site_builder/modules/kernel/wording.js").PackedWords }>
  | undefined;
declare var tellmarkIdentifyPlaces: Record<string, import("../../site_builder/modules/page/data.js").Places> | undefined;
declare var tellmarkMeasureData: import("../../site_builder/modules/measure/data.js").MeasureData;
declare var tellmarkMeasure: Record<string, import("../../site_builder/modules/measure/data.js").MeasureFamily> | undefined;
declare var tellmarkListingData: import("../../site_builder/modules/listing/page.js").ListingData;
