using FluentValidation;
using RehabRecords.Trade;

namespace RehabRecords.Merging;

public static class MergeEndpoints
{
    public static void AddMerging(this IServiceCollection services)
    {
        services.AddScoped<MergeRecords>();
        services.AddSingleton<IValidator<MergeRequest>, MergeRules>();
    }

    public static void MapMerging(this IEndpointRouteBuilder routes) =>
        routes.MapPost("/api/people/{id}/merges", (string id, Posted<MergeRequest> posted, MergeRecords merge, CancellationToken ct) => merge.MergeAsync(id, posted, ct))
            .WithTags("Keeping records").Answers<MergeAnswer>(StatusCodes.Status200OK).Refuses().ProducesProblem(StatusCodes.Status412PreconditionFailed).WithExample("merge")
            .WithSummary("Merge a record that was made twice")
            .WithDescription("The person of the address goes on, with the identifiers of both; everything that referred to the duplicate refers to them. The duplicate stays readable and names the other. What was signed stays as it was signed, "
                + "and is shown with the person's documents. Refused where the two differ in birth date, family name or sex unless that was looked into, where both have a programme or episode under way, and under legal hold.");
}
