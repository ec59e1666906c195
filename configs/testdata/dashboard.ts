// What a dashboard's JSON has to be, by the types that Grafana publishes. The dashboard's own type
// leaves open what is within a panel; here it is that of the panel's kind.
import type { DataQuery, DataSourceRef, Dashboard, FieldConfig, FieldConfigSource, Panel, RowPanel } from '@grafana/schema';
import type * as bargauge from '@grafana/schema/dist/esm/raw/composable/bargauge/panelcfg/x/BarGaugePanelCfg_types.gen';
import type * as stat from '@grafana/schema/dist/esm/raw/composable/stat/panelcfg/x/StatPanelCfg_types.gen';
import type * as statetimeline from '@grafana/schema/dist/esm/raw/composable/statetimeline/panelcfg/x/StateTimelinePanelCfg_types.gen';
import type * as table from '@grafana/schema/dist/esm/raw/composable/table/panelcfg/x/TablePanelCfg_types.gen';
import type * as text from '@grafana/schema/dist/esm/raw/composable/text/panelcfg/x/TextPanelCfg_types.gen';
import type * as timeseries from '@grafana/schema/dist/esm/raw/composable/timeseries/panelcfg/x/TimeSeriesPanelCfg_types.gen';

// Json is how T stands in JSON: an enumeration by its strings.
type Json<T> = T extends string ? `${T}` : T extends object ? { [K in keyof T]: Json<T[K]> } : T;

// Grafana does not publish a type for a query of Prometheus without the whole of its editor.
interface Query extends DataQuery {
  datasource: DataSourceRef;
  expr: string;
  format?: 'table' | 'time_series';
  instant: boolean;
  legendFormat: string;
  range: boolean;
}

type Known = keyof { [K in keyof FieldConfig as string extends K ? never : K]: 0 };
type Named<T, Prefix extends string> = { [K in keyof T & string]-?: { id: `${Prefix}${K}`; value: NonNullable<T[K]> } }[keyof T & string];

// Older versions hide a column of a table so; later ones take it for custom.hideFrom.viz
// as they read the dashboard, and no longer have it in their types.
type Hidden = { id: 'custom.hidden'; value: boolean };

type Override<Custom> = Named<Omit<Pick<FieldConfig, Known>, 'custom'>, ''> | Named<Custom, 'custom.'>;

interface Fields<Custom, Older> extends Omit<FieldConfigSource, 'defaults' | 'overrides'> {
  // What is left out is as Grafana has it by default.
  defaults: Omit<Pick<FieldConfig, Known>, 'custom'> & { custom?: Partial<Custom> };
  overrides: Array<Pick<FieldConfigSource['overrides'][number], 'matcher'> & { properties: Array<Override<Custom> | Older> }>;
}

interface Of<Kind extends string, Options, Custom = {}, Older = never>
  extends Omit<Panel, 'type' | 'options' | 'fieldConfig' | 'targets'> {
  type: Kind;
  options: Options;
  fieldConfig?: Fields<Custom, Older>;
  targets?: Query[];
}

export interface Board extends Json<Omit<Dashboard, 'panels'>> {
  panels: Json<
    | Of<'bargauge', bargauge.Options>
    | Of<'stat', stat.Options>
    | Of<'state-timeline', statetimeline.Options, statetimeline.FieldConfig>
    | Of<'table', table.Options, table.FieldConfig, Hidden>
    | Of<'text', text.Options>
    | Of<'timeseries', timeseries.Options, timeseries.FieldConfig>
    | RowPanel
  >[];
}
