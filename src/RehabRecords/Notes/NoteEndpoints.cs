using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.Net.Http.Headers;
using RehabRecords.Documents;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Bundles;
using RehabRecords.Fhir.Store;
using RehabRecords.Progress;
using RehabRecords.Trade;

namespace RehabRecords.Notes;

/// <summary>One line of a list of notes.</summary>
public sealed record NoteLine(string Id, string Address, string Composition, string Status, string Stage, string Kind, string Title, string From, string To, string? Date);

/// <param name="Programme">Id of the programme to draft a note for.</param>
public sealed record NoteRequest(string? Programme);

internal sealed class NoteRequestRules : AbstractValidator<NoteRequest>
{
    public NoteRequestRules() => RuleFor(n => n.Programme).Needed("the id that POST /api/programmes answered");
}

public static class NoteEndpoints
{
    public static void AddNotes(this IServiceCollection services, Uri publicUrl)
    {
        services.AddSingleton<IValidator<NoteRequest>, NoteRequestRules>();
        services.AddScoped<ProgressReader>();
        services.AddScoped<NoteWriter>();
        services.AddScoped<UpToDate>();
        services.AddScoped<DraftNote>();
        services.AddScoped(NoteKind.Registered);
        services.AddScoped(s => new DocumentBuilder(s.GetRequiredService<RecordStore>(), publicUrl));
    }

    public static void MapNotes(this IEndpointRouteBuilder routes)
    {
        var notes = routes.MapGroup("/api/notes").WithTags("Notes");
        notes.MapGet("", ListAsync).WithSummary("List a person's notes")
            .WithDescription("`person` is the id that POST /api/people answered. Of every kind, discharge summaries among them; newest first.");
        notes.MapGet("{id}", GetAsync).WithSummary("Read a note")
            .WithDescription("As JSON statements (application/json), a page (text/html), plain text (text/plain), a FHIR document with everything the note "
                + "rests on (application/fhir+json, application/fhir+xml), or a PDF (application/pdf; paper=letter for that size; 503 where the operator installed no browser), by the Accept header.")
            .Produces<NoteView>(200, "application/json").Produces<string>(200, "text/html", "text/plain", "application/fhir+json", "application/fhir+xml", "application/pdf").ProducesProblem(404).ProducesProblem(406).ProducesProblem(503);
        notes.MapPost("", PostAsync).WithExample("note").WithSummary("Draft a note now")
            .WithDescription("Computes the draft of a programme from the record as it is. The open draft gets a new version, or stays as it is when it already says the same or a clinician has begun to work on it (POST /api/notes/{id}/refresh then); "
                + "after a note was signed the next one begins. 201 for a new note, 200 otherwise.")
            .Produces<NoteView>(201).Produces<NoteView>(200).ProducesProblem(404);
    }

    private static async Task<IReadOnlyList<NoteLine>> ListAsync(string? person, RecordStore store, DocumentKinds kinds, CancellationToken ct)
    {
        if (string.IsNullOrEmpty(person))
            throw new RefusedException(Refusal.Malformed, OperationOutcome.IssueType.Required,
                "person is missing; name the person whose notes are wanted, as in /api/notes?person={id}.", "person");
        if (await store.GetAsync<Patient>(person, ct) is null)
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no person '{person}'. Use the id that POST /api/people answered.", "person");
        var notes = await store.FindAllAsync<Composition>(await Replaced.SubjectsAsync(store, person, ct), ct);
        return
        [
            .. from note in notes
               let kind = kinds.Of(note)
               where kind is not null
               let view = NoteView.Of(note, kind)
               orderby view.To descending, note.Id descending
               select new NoteLine(note.Id!, view.Address, view.Composition, view.Status, view.Stage, view.Kind, view.Title, view.From, view.To, note.Date),
        ];
    }

    private static async Task<IResult> GetAsync(
        string id, HttpContext context, RecordStore store, DocumentKinds kinds, DocumentBuilder documents, Reviews reviews, NoteVersions versions, CancellationToken ct)
    {
        var format = NoteFormats.Wanted(context.Request);
        context.Response.Headers.Vary = HeaderNames.Accept;
        if (format is null)
            return NoteFormats.NotOffered(context.Request);
        if (await store.GetAsync<Composition>(id, ct) is not var (note, version) || kinds.Of(note) is not { } kind)
            throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no note '{id}'. GET /api/notes?person={{id}} lists a person's notes.", "id");
        context.Response.Headers.ETag = VersionTag.Of(version);
        if (format != NoteFormats.Json)
            return await NoteFormats.AnswerAsync(format, note, version, context, documents, ct);
        var replacedBy = note.IsDraft() ? null : await versions.ReplacedByAsync(note.Identifier!, ct);
        return TypedResults.Ok(NoteView.Of(note, kind) with
        {
            Review = note.IsDraft() ? await reviews.OfAsync(note, kind, ct) : null,
            ReplacedBy = replacedBy is null ? null : $"/api/notes/{replacedBy}",
        });
    }

    private static async Task<IResult> PostAsync(Posted<NoteRequest> posted, DraftNote draft, RecordStore store, CancellationToken ct)
    {
        var programme = posted.Body.Programme!;
        if (await store.GetAsync<CarePlan>(programme, ct) is ({ Status: RequestStatus.Draft }, _))
            throw new RefusedException(Refusal.Invalid, OperationOutcome.IssueType.BusinessRule,
                $"programme is '{programme}', which is a draft and not handed over yet, so there is no progress to note; activate it first (POST /api/programmes/{programme}/activation).", "programme");
        var (id, isNew) = await draft.NowAsync(programme, ct);
        var note = (await store.GetAsync<Composition>(id, ct))!.Value.Resource;
        return isNew ? TypedResults.Created($"/api/notes/{id}", NoteView.Of(note)) : TypedResults.Ok(NoteView.Of(note));
    }
}
