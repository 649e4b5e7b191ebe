using RehabRecords.Access;
using RehabRecords.Audit;
using RehabRecords.Briefings;
using RehabRecords.Commands;
using RehabRecords.Decisions;
using RehabRecords.Discharges;
using RehabRecords.Documents;
using RehabRecords.Exchange;
using RehabRecords.Fhir.Definitions;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Flags;
using RehabRecords.HomeLinks;
using RehabRecords.Host;
using RehabRecords.Letters;
using RehabRecords.Library;
using RehabRecords.Measures;
using RehabRecords.Notes;
using RehabRecords.Pages;
using RehabRecords.Pages.You;
using RehabRecords.People;
using RehabRecords.Printing;
using RehabRecords.Programmes;
using RehabRecords.Progress;
using RehabRecords.RecordExport;
using RehabRecords.Rest;
using RehabRecords.Rest.Bulk;
using RehabRecords.Sessions;
using RehabRecords.Trade;

_ = ExpressionLimits.Apply();
if (args is ["build-definitions", ..])
    return PackBuilder.Run(args, Console.Error);

// The table of contents of the program. Commands are in Commands/, one folder for each feature named below.
return await Start.RunAsync(args, static args =>
{
    var builder = WebApplication.CreateBuilder(args);
    var settings = Settings.Read(builder.Configuration);
    builder.AddWebServer(settings);

    builder.Services.AddSingleton(settings);
    builder.Services.AddSingleton(settings.ClinicRules());
    builder.Services.AddRecord();
    builder.AddAccess(settings);
    builder.Services.AddAudit();
    builder.Services.AddRest();
    builder.Services.AddBulk();
    builder.Services.AddTrade();
    builder.Services.AddBriefings();
    builder.Services.AddExchange();
    builder.Services.AddNotes(new Uri(settings.PublicUrl));
    builder.Services.AddDischarges();
    builder.Services.AddLetters();
    builder.Services.AddRecordExport();
    builder.Services.AddDocuments();
    builder.Services.AddHomeLinks();
    builder.Services.AddStrictJson();
    builder.Services.AddDocumentation(settings);
    builder.Services.AddPages();
    builder.Services.AddPrinting();

    var app = builder.Build();
    app.UseStandardHeaders(settings);
    app.UseFailures();
    app.UseAccess();
    app.UseAudit();
    app.UseForms();

    app.MapHealth();
    app.MapAccess();
    app.MapDocumentation();
    app.MapPeople();
    app.MapLibrary();
    app.MapProgrammes();
    app.MapStartingLevel();
    app.MapRevisions();
    app.MapDecisions();
    app.MapReporting();
    app.MapBriefings();
    app.MapSessions();
    app.MapHomeLinks();
    app.MapMeasures();
    app.MapFlags();
    app.MapProgress();
    app.MapNotes();
    app.MapDischarges();
    app.MapLetters();
    app.MapRecordExport();
    app.MapPages();
    app.MapPrinting();
    app.MapDocuments();
    app.MapConsents();
    app.MapExchange();
    app.MapRest();
    app.MapBulk();
    return app;
});
